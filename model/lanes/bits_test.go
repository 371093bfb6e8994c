package lanes

import (
	"encoding/binary"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"testing"
)

// TestSameBitsOnEveryMachine pins the outputs of networks of every kind by a checksum, which was
// computed by this package on amd64 with AVX2. amd64 without AVX2, 386 and arm64 must give the
// same. Weights and inputs are whole thousandths, so that nothing before the kernels differs.
func TestSameBitsOnEveryMachine(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	thousandths := func() float64 { return float64(random.IntN(2001)-1000) / 1000 }
	sum := fnv.New64a()
	for _, kind := range everyKind {
		net := randomNetwork(1, 5, 7, 2, kind)
		for _, values := range net.Values() {
			for i := range values {
				values[i] = thousandths() / 2
			}
		}
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
