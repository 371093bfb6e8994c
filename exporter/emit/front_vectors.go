package emit

import (
	"fmt"
	"slices"
	"strings"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/quant"
)

// FrontVectors is the self-test of the front end: windows of converter codes in, features and
// outputs of the network out.
type FrontVectors struct {
	// Codes that were recorded: windows, channels, codes. They repeat where they are fewer than the
	// samples of a window.
	Recorded [][][]uint16
	Windows  []FrontWindow
}

// FrontWindow is one window of the self-test. Its codes follow from the rest.
type FrontWindow struct {
	Reset bool // front end and network are reset before this window
	Wave  Wave
	Of    int    // of Recorded: which of [FrontVectors.Recorded]
	Seed  uint16 // of noise that is added to the codes; 0: none
	Skip  int    // so many windows of the same codes are run before it, and not compared

	// Of the first windows, on which the network runs.
	X []int32 // features as the network takes them, the computed ones included
	Y []int32 // outputs

	Sum uint32 // of the others: stands for their computed features, see [sumOf]
}

// Wave says where the codes of a window come from.
type Wave string

// The waves of windows. Square and Highest have the largest number that a code can be passed as,
// beyond the bits of most converters.
const (
	Recorded Wave = "recorded"
	Middle   Wave = "middle" // the middle codes; without noise below every floor of an amplitude
	Zero     Wave = "zero"   // the codes of physical zero, or the nearest ones
	Square   Wave = "square" // the largest codes, and the smallest from the middle of the window on
	Lowest   Wave = "lowest"
	Highest  Wave = "highest"
)

// waves are the numbers of waves in net_window_wave; those below are of recorded windows.
var waves = []Wave{Middle, Zero, Square, Lowest, Highest}

const firstWave = 251

// inC returns the number of the wave of a window in NAME_vectors.h.
func (w *FrontWindow) inC() int {
	if w.Wave == Recorded {
		return w.Of
	}
	return firstWave + slices.Index(waves, w.Wave)
}

// codes returns the codes of a window as a front end takes them that limits them to their bits.
func (v *FrontVectors) codes(w *FrontWindow, n *frontend.Integer) [][]uint16 {
	samples := n.Front.Sampling.Samples
	codes := make([][]uint16, len(n.Channels))
	noise := newNoise(w.Seed)
	for i := range samples {
		for c := range codes {
			code := uint16(0)
			switch w.Wave {
			case Recorded:
				recorded := v.Recorded[w.Of][c]
				code = recorded[i%len(recorded)]
			case Middle:
				code = uint16(n.Channels[c].Middle)
			case Zero:
				code = n.Front.Channels[c].Converter.Code(0)
			case Square:
				if i < samples/2 {
					code = mostCode
				}
			case Highest:
				code = mostCode
			}
			code = noise.add(code)
			codes[c] = append(codes[c], min(code, uint16(1<<n.Channels[c].Bits-1)))
		}
	}
	return codes
}

// mostCode is the largest number that a code can be passed as.
const mostCode = 1<<16 - 1

// noise is what is added to codes: numbers of a few bits about 0, by the C of the self-test alike.
type noise struct {
	state uint16
	shift int
}

// newNoise begins with a seed; its last four bits say how many bits the noise has, 0 stands for 16.
// Seed 0 is no noise.
func newNoise(seed uint16) noise { return noise{seed, (16 - int(seed%16)) % 16} }

// add adds the next number to a code (Marsaglia 2003, "Xorshift RNGs", with words of 16 bits:
// period 65,535).
func (n *noise) add(code uint16) uint16 {
	if n.state == 0 {
		return code
	}
	n.state ^= n.state << 7
	n.state ^= n.state >> 9
	n.state ^= n.state << 8
	sum := int32(code) + int32(n.state>>n.shift) - int32(1<<15>>n.shift)
	return uint16(min(max(sum, 0), mostCode))
}

const (
	// windowBytes bounds what the windows of the self-test take of flash while it runs: 4 KiB.
	windowBytes = 4096
	// recordedBytes bounds the recorded codes among that, and what their windows take besides.
	// Our choice: windows that are drawn notice more for each byte.
	recordedBytes = 1536
	// mostRecorded is how many recorded windows of a sequence there are at most. Our choice: enough
	// for differences of windows.
	mostRecorded = 4
	codeBytes    = 2
)

// NewFrontVectors returns the self-test of a front end, at most 4 KiB: the first windows of the
// first two sequences that have samples, codes at both ends, codes below every floor, the steps at
// which baselines end, and windows that [FrontVectors.chooseWindows] draws. channels are the names
// of the columns of samples.
func NewFrontVectors(f *FrontEnd, net *quant.Network, sequences []*dataset.Sequence,
	samples []*dataset.Samples, channels []string) FrontVectors {
	var v FrontVectors
	v.record(f.Integer.Front, net, sequences, samples, channels)
	add := func(wave Wave, reset, stepped bool) {
		w := FrontWindow{Reset: reset, Wave: wave}
		if stepped {
			w.X, w.Y = make([]int32, len(net.Features)), make([]int32, len(net.Outputs))
			if last := len(v.Windows) - 1; last >= 0 {
				copy(w.X, v.Windows[last].X) // the given features go on
			}
		}
		v.Windows = append(v.Windows, w)
	}
	add(Square, len(v.Windows) == 0, true)
	add(Middle, false, true)
	add(Lowest, true, false)
	add(Highest, true, false)
	v.Windows = append(v.Windows, v.baselineEnds(f.Integer)...)
	left := windowBytes
	for _, recorded := range v.Recorded {
		left -= codeBytes * len(recorded) * len(recorded[0])
	}
	for _, w := range v.Windows {
		left -= windowRowBytes + 2*len(w.X) + 4*len(w.Y)
	}
	room := min(left/windowRowBytes, mostSamples/f.Integer.Front.Sampling.Samples)
	v.Windows = append(v.Windows, v.chooseWindows(f.Integer, room)...)
	v.run(f, net)
	return v
}

// windowRowBytes is what a window takes besides its features and outputs: how it begins, its wave,
// its seed and its sum.
const windowRowBytes = 1 + 1 + 2 + 4

// record adds recorded windows.
func (v *FrontVectors) record(front *frontend.FrontEnd, net *quant.Network,
	sequences []*dataset.Sequence, samples []*dataset.Samples, channels []string) {
	whole := front.Sampling.Samples
	ofChannel := recordedBytes / 2 / codeBytes / len(front.Channels) // codes of a sequence
	length := max(1, min(whole, ofChannel))
	row := windowRowBytes + 2*len(net.Features) + 4*len(net.Outputs)
	each := max(1, min(mostRecorded, ofChannel/length, recordedBytes/2/row))
	taken := 0
	for i, s := range samples {
		if s == nil || taken == 2 {
			continue
		}
		taken++
		for step := range min(each, sequences[i].Steps) {
			var recorded [][]uint16
			for c := range front.Channels {
				converter := front.Channels[c].Converter
				column := s.X[slices.Index(channels, front.Channels[c].Name)]
				codes := make([]uint16, length)
				for n := range codes {
					codes[n] = converter.Code(column[step*whole+n])
				}
				recorded = append(recorded, codes)
			}
			w := FrontWindow{Reset: step == 0, Wave: Recorded, Of: len(v.Recorded),
				X: make([]int32, len(net.Features)), Y: make([]int32, len(net.Outputs))}
			net.EncodeStep(sequences[i], step, w.X)
			v.Recorded, v.Windows = append(v.Recorded, recorded), append(v.Windows, w)
		}
	}
}

// run sets the computed features and the outputs of the windows.
func (v *FrontVectors) run(f *FrontEnd, net *quant.Network) {
	state := net.NewState()
	for first := 0; first < len(v.Windows); {
		last := first + 1
		for last < len(v.Windows) && !v.Windows[last].Reset {
			last++
		}
		state.Reset()
		for i, x := range v.encoded(f.Integer, v.Windows[first:last]) {
			w := &v.Windows[first+i]
			if w.Y == nil {
				w.Sum = f.sumOf(x, len(net.Features))
				continue
			}
			for i, at := range f.Index {
				w.X[at] = int32(x[i])
			}
			net.Step(state, w.X, w.Y)
		}
		first = last
	}
}

// sumOf returns what stands for computed features: those of the network, 0 for a given one, as the
// digits of a number with the base 31, modulo 2^32. The base is odd, so that any feature that is
// another one makes another sum.
func (f *FrontEnd) sumOf(x []int16, features int) uint32 {
	all := make([]int16, features)
	for i, at := range f.Index {
		all[at] = x[i]
	}
	sum := uint32(0)
	for _, v := range all {
		sum = 31*sum + uint32(uint16(v))
	}
	return sum
}

// encoded returns the computed features of windows that follow each other from a reset on.
func (v *FrontVectors) encoded(n *frontend.Integer, windows []FrontWindow) [][]int16 {
	all := make([][]uint16, len(n.Channels))
	steps := 0
	var compared []int
	for i := range windows {
		codes := v.codes(&windows[i], n)
		for range windows[i].Skip + 1 {
			for c := range all {
				all[c] = append(all[c], codes[c]...)
			}
		}
		steps += windows[i].Skip + 1
		compared = append(compared, steps-1)
	}
	x := n.Encode(all, steps)
	var rows [][]int16
	for _, step := range compared {
		rows = append(rows, x[step])
	}
	return rows
}

// replayWindows runs the windows of the self-test through front end and network.
func (p *Program) replayWindows() error {
	again := FrontVectors{Recorded: p.FrontVectors.Recorded}
	for _, w := range p.FrontVectors.Windows {
		w.X, w.Y = slices.Clone(w.X), slices.Clone(w.Y)
		again.Windows = append(again.Windows, w)
	}
	if len(again.Windows) > 0 {
		again.run(p.Front, p.Net)
	}
	for i, w := range p.FrontVectors.Windows {
		a := &again.Windows[i]
		if !slices.Equal(a.X, w.X) || !slices.Equal(a.Y, w.Y) || a.Sum != w.Sum {
			return fmt.Errorf("window %d gives %v, %v and %d, the self-test expects %v, %v and %d",
				i, a.X, a.Y, a.Sum, w.X, w.Y, w.Sum)
		}
	}
	return nil
}

// windowVectors writes the windows of NAME_vectors.h.
func (p *Program) windowVectors(b *strings.Builder) {
	if p.Front == nil {
		return
	}
	v := p.FrontVectors
	stepped := 0
	for _, w := range v.Windows {
		stepped += flag(w.Y != nil)
	}
	fmt.Fprintf(b, "/* Windows of converter codes; the network runs on the first ones. */\n"+
		"#define NET_VECTOR_WINDOWS %dU\n#define NET_VECTOR_WINDOWS_STEPPED %dU\n\n",
		len(v.Windows), stepped)
	array := func(comment, declaration string, item func(w *FrontWindow) int) {
		fmt.Fprintf(b, "/* %s */\nstatic const %s[NET_VECTOR_WINDOWS] NET_VECTOR_ROM = {\n",
			comment, declaration)
		list(b, len(v.Windows), 16, func(i int) string { return fmt.Sprint(item(&v.Windows[i])) })
		b.WriteString("};\n\n")
	}
	array("1: front end and network are reset before this window; 2: its seed is how many "+
		"windows\n * of the same codes run before it, and are not compared; 3: both.",
		"uint8_t net_window_begin",
		func(w *FrontWindow) int { return flag(w.Reset) + 2*flag(w.Skip > 0) })
	for i, wave := range waves {
		fmt.Fprintf(b, "#define NET_WAVE_%s %dU\n", strings.ToUpper(string(wave)), firstWave+i)
	}
	array("Its codes: a window of net_window_codes, or one of the waves above.",
		"uint8_t net_window_wave", (*FrontWindow).inC)
	array("Seed of noise that is added to them; 0: none.", "uint16_t net_window_seed",
		func(w *FrontWindow) int { return max(int(w.Seed), w.Skip) })
	b.WriteString("/* Codes of physical zero, or the nearest ones. */\nstatic const uint16_t " +
		"net_window_zero[NET_N_CHANNELS] NET_VECTOR_ROM = {\n")
	channels := p.Front.Integer.Front.Channels
	list(b, len(channels), 16, func(c int) string {
		return fmt.Sprint(channels[c].Converter.Code(0))
	})
	b.WriteString("};\n\n")
	v.recordedCodes(b, len(channels))
	b.WriteString("/* Features of the first windows: the given ones go in, the computed ones " +
		"come out. */\n")
	rowsOf(b, "int16_t net_window_x[NET_VECTOR_WINDOWS_STEPPED][NET_N_FEATURES]",
		v.Windows[:stepped], func(w FrontWindow) []int32 { return w.X })
	rowsOf(b, "int32_t net_window_y[NET_VECTOR_WINDOWS_STEPPED][NET_N_OUTPUTS]",
		v.Windows[:stepped], func(w FrontWindow) []int32 { return w.Y })
	fmt.Fprintf(b, "/* Features of the other ones, as digits with the base 31; a given one is "+
		"0. */\nstatic const uint32_t net_window_sum[%d] NET_VECTOR_ROM = {\n",
		len(v.Windows)-stepped)
	list(b, len(v.Windows)-stepped, 8, func(i int) string {
		return fmt.Sprintf("%dU", v.Windows[stepped+i].Sum)
	})
	b.WriteString("};\n\n")
}

// recordedCodes writes the codes that were recorded.
func (v *FrontVectors) recordedCodes(b *strings.Builder, channels int) {
	recorded := v.Recorded
	if len(recorded) == 0 {
		recorded = [][][]uint16{make([][]uint16, channels)} // C has no arrays of nothing
		for c := range channels {
			recorded[0][c] = []uint16{0}
		}
	}
	fmt.Fprintf(b, "/* Recorded codes; a window that is longer repeats them. */\n#define "+
		"NET_WINDOW_CODES %dU\nstatic const uint16_t net_window_codes[%d][NET_WINDOW_CODES]"+
		"[NET_N_CHANNELS] NET_VECTOR_ROM = {\n", len(recorded[0][0]), len(recorded))
	for _, window := range recorded {
		b.WriteString("  {\n")
		list(b, len(window[0]), 8, func(n int) string {
			codes := make([]int32, channels)
			for c := range codes {
				codes[c] = int32(window[c][n])
			}
			return "{ " + join(codes) + " }"
		})
		b.WriteString("  },\n")
	}
	b.WriteString("};\n\n")
}
