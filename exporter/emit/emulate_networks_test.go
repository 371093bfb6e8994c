//go:build emulate

package emit

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"sync"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/prune"
	"kerf/quant"
	"kerf/testdata/randomnet"
)

// emulated is a network that runs on the emulated cores.
type emulated struct {
	name    string
	program *Program
	seed    uint32 // of the random inputs, not 0

	lock  sync.Mutex
	known []string // hashes of the first blocks
}

// fullNetworks are as large as they are drawn: up to 24 units a layer.
func fullNetworks(t *testing.T) []*emulated { return emulatedNetworks(t, 24, 24) }

// cutNetworks are small enough for many steps on an emulated 8-bit core.
func cutNetworks(t *testing.T) []*emulated { return emulatedNetworks(t, 2, 3) }

// stackedNetwork is a cut one with an LSTM, a GRU and three dense layers.
func stackedNetwork(t *testing.T) *emulated {
	t.Helper()
	for _, n := range cutNetworks(t) {
		layers := n.program.Net.Layers
		if len(layers) == 2 && layers[0].Kind == model.LSTM &&
			layers[1].Kind == model.GRUResetBefore {
			return n
		}
	}
	t.Fatal("randomnet.All has no LSTM with a GRU behind it")
	return nil
}

// emulatedNetworks quantizes every network of [randomnet.All]. Word widths are drawn
// until they cover most of what is not covered yet. units and features limit
// the size; larger networks are cut.
func emulatedNetworks(t *testing.T, units, features int) []*emulated {
	t.Helper()
	covered := map[string]bool{}
	var all []*emulated
	for i, n := range randomnet.All() {
		random := rand.New(rand.NewPCG(uint64(i), 3))
		p := randomnet.Network(random, 1+random.IntN(24), n, 1+random.IntN(3))
		rec := randomnet.Recordings(random, p)
		p = cutTo(p, rec, units, features)
		formats := newestFormats(random, p.Net, covered)
		net, err := quant.Quantize(p, quant.Calibrate(p, rec), formats,
			quant.Roundings[i%len(quant.Roundings)])
		if err != nil {
			t.Fatal(err)
		}
		program := &Program{Name: "leakair", Version: "test", JobHash: fmt.Sprintf("%064x", 0),
			VerdictLine: "test", Description: p.Net.String(), Net: net, Vectors: Vectors(net, rec)}
		for _, l := range net.Layers {
			program.KeptUnits = append(program.KeptUnits, firstOf(l.Units, l.Units))
		}
		all = append(all, &emulated{name: fmt.Sprint(i, n), program: program, seed: 1 + uint32(i)})
	}
	requireCover(t, covered)
	return all
}

// firstOf are the indices 0 to n-1, at most limit of them.
func firstOf(n, limit int) []int {
	first := make([]int, min(n, limit))
	for i := range first {
		first[i] = i
	}
	return first
}

func cutTo(p *dataset.Float, rec *dataset.Recordings, units, features int) *dataset.Float {
	var kept [][]int
	for _, l := range p.Net.Recurrent {
		kept = append(kept, firstOf(l.Units, units))
	}
	return prune.CutPredictor(p, firstOf(len(p.Features), features), kept,
		prune.MeasureMeans(p, rec))
}

// newestFormats draws formats and adds what they cover to covered.
func newestFormats(random *rand.Rand, net *model.Network, covered map[string]bool) quant.Formats {
	var best quant.Formats
	most := -1
	for range 100 {
		f := randomnet.Formats(random, net)
		fresh := map[string]bool{}
		for _, c := range coverage(net, f) {
			if !covered[c] {
				fresh[c] = true
			}
		}
		if len(fresh) > most {
			best, most = f, len(fresh)
		}
	}
	for _, c := range coverage(net, best) {
		covered[c] = true
	}
	return best
}

// coverage lists the combinations of layer and format of one network.
func coverage(net *model.Network, f quant.Formats) []string {
	var all []string
	for i, l := range net.Recurrent {
		all = append(all,
			fmt.Sprintf("%v, %d-bit state", l.Kind, f.Layers[i].StateBits),
			fmt.Sprintf("%v, int%d input weights", l.Kind, f.Layers[i].InputBits),
			fmt.Sprintf("%v, int%d recurrent weights", l.Kind, f.Layers[i].RecurrentBits))
	}
	for i, d := range net.Dense {
		all = append(all, fmt.Sprintf("%v, int%d dense weights", d.Activation, f.Dense[i]))
	}
	return all
}

// requireCover demands every kind in every state and word width, and every
// activation in every word width.
func requireCover(t *testing.T, covered map[string]bool) {
	t.Helper()
	var all []string
	for _, bits := range []int{4, 8, 16} {
		for k := model.GRUResetAfter; k <= model.ElmanReLU; k++ {
			all = append(all, fmt.Sprintf("%v, int%d input weights", k, bits),
				fmt.Sprintf("%v, int%d recurrent weights", k, bits))
		}
		for a := model.Identity; a <= model.Logistic; a++ {
			all = append(all, fmt.Sprintf("%v, int%d dense weights", a, bits))
		}
	}
	for k := model.GRUResetAfter; k <= model.ElmanReLU; k++ {
		all = append(all, fmt.Sprintf("%v, 16-bit state", k))
		if k <= model.LSTM {
			all = append(all, fmt.Sprintf("%v, 32-bit state", k))
		}
	}
	for _, c := range all {
		if !covered[c] {
			t.Errorf("no emulated network has: %s", c)
		}
	}
}

// xorshift is the generator of driver.c.
type xorshift uint32

func (s *xorshift) draw() uint32 {
	*s ^= *s << 13
	*s ^= *s >> 17
	*s ^= *s << 5
	return uint32(*s)
}

func (s *xorshift) drawInput(style uint32) int32 {
	r := s.draw()
	switch style {
	case 0: // uniform
		return int32(r>>16) - 32768
	case 1: // small
		return int32(r>>20) - 2048
	}
	return []int32{-32768, 32767, 0, -1}[r>>30] // ends of the range
}

// replay runs the steps of driver.c on the Go engine.
func (n *emulated) replay(steps int, see func(step int, y []int32)) {
	net := n.program.Net
	state := net.NewState()
	x, y := make([]int32, len(net.Features)), make([]int32, len(net.Outputs))
	random := xorshift(n.seed)
	style := uint32(0)
	for step := range steps {
		r := random.draw()
		if r&1023 == 0 {
			state.Reset()
		}
		if r>>10&31 == 0 {
			style = r >> 30
		}
		if style <= 2 { // 3 holds the inputs
			for i := range x {
				x[i] = random.drawInput(style)
			}
		}
		net.Step(state, x, y)
		see(step, y)
	}
}

// hashes are what driver.c prints: the hash of all outputs after every block.
func (n *emulated) hashes(steps int) []string {
	n.lock.Lock()
	defer n.lock.Unlock()
	if blocks := steps / blockSteps; blocks <= len(n.known) {
		return n.known[:blocks]
	}
	hash := fnv.New32a()
	n.known = nil
	var bytes []byte
	n.replay(steps, func(step int, y []int32) {
		bytes = bytes[:0]
		for _, v := range y {
			bytes = binary.LittleEndian.AppendUint32(bytes, uint32(v))
		}
		hash.Write(bytes)
		if step%blockSteps == blockSteps-1 {
			n.known = append(n.known, fmt.Sprintf("%08x", hash.Sum32()))
		}
	})
	return n.known
}

// outputs are all outputs of one block, step by step.
func (n *emulated) outputs(block int) []string {
	var all []string
	n.replay((block+1)*blockSteps, func(step int, y []int32) {
		if step/blockSteps == block {
			for _, v := range y {
				all = append(all, fmt.Sprint(v))
			}
		}
	})
	return all
}
