package quant

import (
	"slices"
	"testing"
)

// What Quantize makes passes, and Check proves the bounds that Quantize proved; an offset behind the sum may round one off.
func TestCheckAcceptsWhatQuantizeMakes(t *testing.T) {
	for i, n := range everyStack() {
		for _, state := range []int{16, 32} {
			p := layered(uint64(i), n.Kinds, n.Activations)
			net := mustQuantize(t, p, Calibrate(p, RandomRecordings(uint64(i), p, 1, 20)), Uniform(p.Net, 8, 8, state))
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
						t.Errorf("%v, %s, row %d: the bound is %d, Quantize proved %d", n, m.Name, r, bound, bounds[at][r])
					}
				}
			}
		}
	}
}

// Each thing that a network cannot lack, taken away alone, is missed.
func TestCheckMissesWhatIsTakenAway(t *testing.T) {
	for i, take := range []func(*Network){
		func(n *Network) { n.Features = nil }, func(n *Network) { n.Layers = nil }, func(n *Network) { n.Dense = nil },
		func(n *Network) { n.Outputs = nil }, func(n *Network) { n.InputFraction = 15 }, func(n *Network) { n.Layers[0].Formats.StateBits = 24 },
		func(n *Network) { n.Layers[0].Input.Shift[0]++ }, func(n *Network) { n.Dense[0].Out[0]++ },
	} {
		net := randomNetwork(t, 3, 3, 4, 2, Widths(8, 8, 8, 16))
		take(net)
		if net.Check() == nil {
			t.Errorf("network %d is accepted", i)
		}
	}
}
