package lanes

import (
	"encoding/binary"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"testing"

	"kerf/model"
)

// thousandthsFrom returns a function that draws whole thousandths between ±1.
func thousandthsFrom(random *rand.Rand) func() float64 {
	return func() float64 { return float64(random.IntN(2001)-1000) / 1000 }
}

// networkOf returns a network whose weights are drawn halves of thousandths.
func networkOf(thousandths func() float64, kind model.Kind) *model.Network {
	net := randomNetwork(1, 5, 7, 2, kind)
	for _, values := range net.Values() {
		for i := range values {
			values[i] = thousandths() / 2
		}
	}
	return net
}

// TestSameBitsOnEveryMachine pins the outputs of networks of every kind by a checksum, which was
// computed by this package on amd64 with AVX2. amd64 without AVX2, 386 and arm64 must give the
// same. Weights and inputs are whole thousandths, so that nothing before the kernels differs.
func TestSameBitsOnEveryMachine(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	thousandths := thousandthsFrom(random)
	sum := fnv.New64a()
	for _, kind := range everyKind {
		net := networkOf(thousandths, kind)
		state := Compile(net).NewState()
		for range 100 {
			for i := range state.Input() {
				state.Input()[i] = float32(thousandths())
			}
			state.Step()
			for _, v := range state.Output() {
				sum.Write(binary.LittleEndian.AppendUint32(nil, math.Float32bits(v)))
			}
		}
	}
	const want = 0xa5305698581822c6
	if got := sum.Sum64(); got != want {
		t.Errorf("checksum %#x, want %#x", got, uint64(want))
	}
}
