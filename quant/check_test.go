package quant

import (
	"slices"
	"testing"
)

// A network that Quantize made passes, and Check proves the bounds that Quantize proved; an offset
// that is added to the sum may round a bound by one.
func TestCheckAcceptsWhatQuantizeMakes(t *testing.T) {
	for i, n := range everyStack() {
		for _, state := range []int{16, 32} {
			p := layered(uint64(i), n.Kinds, n.Activations)
			net := mustQuantize(t, p, Calibrate(p, RandomRecordings(uint64(i), p, 1, 20)),
				Uniform(p.Net, 8, 8, state))
			var bounds [][]int64
			for _, m := range net.Matrices() {
				bounds = append(bounds, slices.Clone(m.Bound))
			}
			if err := net.Check(); err != nil {
				t.Fatalf("%v, int%d state: %v", n, state, err)
			}
			for at, m := range net.Matrices() {
				for r, bound := range m.Bound {
					if bound > bounds[at][r] || bound < bounds[at][r]-1 {
						t.Errorf("%v, %s, row %d: the bound is %d, Quantize proved %d", n, m.Name,
							r, bound, bounds[at][r])
					}
				}
			}
		}
	}
}

// Check notices each thing that a network cannot lack, taken away alone.
func TestCheckMissesWhatIsTakenAway(t *testing.T) {
	for i, take := range []func(*Network){
		func(n *Network) {
			n.Features = nil
		}, func(n *Network) { n.Layers = nil }, func(n *Network) { n.Dense = nil },
		func(n *Network) {
			n.Outputs = nil
		}, func(n *Network) {
			n.InputFraction = 15
		}, func(n *Network) { n.Layers[0].Formats.StateBits = 24 },
		func(n *Network) { n.Layers[0].Input.Shift[0]++ }, func(n *Network) { n.Dense[0].Out[0]++ },
	} {
		net := randomNetwork(t, 3, 3, 4, 2, Widths(8, 8, 8, 16))
		take(net)
		if net.Check() == nil {
			t.Errorf("network %d is accepted", i)
		}
	}
}

// A matrix with one size that does not fit the others is refused, whichever it is.
func TestCheckMissesASizeThatDoesNotFit(t *testing.T) {
	for i, spoil := range []func(*Matrix){
		func(m *Matrix) {
			m.Rows++
		}, func(m *Matrix) {
			m.Cols++
		}, func(m *Matrix) { m.W = append(m.W, 0) }, func(m *Matrix) { m.Bias = append(m.Bias, 0) },
		func(m *Matrix) {
			m.Fraction = append(m.Fraction, 0)
		}, func(m *Matrix) { m.Shift = append(m.Shift, 0) }, func(m *Matrix) { m.InputFraction++ },
	} {
		net := randomNetwork(t, 3, 3, 4, 2, Widths(8, 8, 8, 16))
		spoil(net.Layers[0].Recurrent)
		if net.Check() == nil {
			t.Errorf("matrix %d is accepted", i)
		}
	}
}

// As in TestARowMayFillTheAccumulator: 65535·32768 + 32767 = 2^31 - 1 is accepted, one step more is
// not.
func TestCheckAcceptsAFullAccumulator(t *testing.T) {
	m := &Matrix{Rows: 1, Cols: 3, WordBits: 16, W: []int32{32767, -32767, 1},
		Bias: []int32{-32767}, Fraction: []int{0}, Shift: []uint8{0}}
	if err := m.check(1, 3, 0, accumulator, nil); err != nil || m.Bound[0] != AccumulatorLimit {
		t.Errorf("bound %d: %v", m.Bound[0], err)
	}
	if m.check(1, 3, 0, accumulator, []int32{1}) == nil {
		t.Errorf("bound %d is accepted", m.Bound[0])
	}
}
