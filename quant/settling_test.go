package quant

import (
	"math"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// forgetting returns a network of one unit that keeps z of its state a step, with the tanh of the
// feature as its candidate. Each sequence holds the feature at a value of its own, so that the end
// states differ.
func forgetting(t *testing.T, z float64, steps int) (*Network, *dataset.Recordings) {
	t.Helper()
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: 1, Units: 1, W: []float64{0, 0, 1},
		U: make([]float64, 3), B: []float64{0, math.Log(z / (1 - z)), 0}, D: make([]float64, 3)}
	net := &model.Network{Recurrent: []*model.Recurrent{layer},
		Dense: []*model.Dense{{Inputs: 1, Outputs: 1, W: []float64{1}, B: []float64{0}}}}
	p := dataset.NewFloat(net, []dataset.Feature{{Name: "f", Std: 1}},
		[]dataset.Output{{Name: "y", Std: 1}})
	rec := &dataset.Recordings{Features: 1, Outputs: 1}
	for i := range 5 {
		s := &dataset.Sequence{Name: "s", Scenario: "s", Steps: steps, X: make([]float64, steps),
			Y: make([]float64, steps)}
		for k := range s.X {
			s.X[k] = float64(i-2) / 2
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	formats := Formats{Layers: []LayerFormats{{InputBits: 16, RecurrentBits: 16, StateBits: 32}},
		Dense: []int{16}}
	fixed, err := Quantize(p, Calibrate(p, rec), formats, Nearest)
	if err != nil {
		t.Fatal(err)
	}
	return fixed, rec
}

// The states end at tanh of ±1, ±1/2 and 0, so the largest difference from the zero state begins at
// z·tanh 1 and falls by the factor z a step: below the bound from the step at which tanh(1)·z^n is
// less.
func TestSettlingOfOneUnit(t *testing.T) {
	for _, c := range []struct{ z, bound float64 }{{0.9, 0.01}, {0.95, 0.1}, {0.5, 0.001}} {
		fixed, rec := forgetting(t, c.z, 400)
		got := fixed.Settle(rec, []float64{c.bound})
		// At step index k the difference is tanh(1)·z^(k+1); the answer is one step after the last
		// that exceeds.
		want := math.Floor(math.Log(c.bound/math.Tanh(1))/math.Log(c.z)) - 1 + 1
		if !got.Reached || math.Abs(float64(got.Steps)-want) > 1 || got.States != 5 {
			t.Errorf("z %g, bound %g: %+v, want %g steps", c.z, c.bound, got, want)
		}
	}
	fixed, rec := forgetting(t, 0.9, 400)
	long := fixed.Settle(rec, []float64{0.01})
	short := &rec.Sequences[2].Steps
	*short = 30 // it ends before the network, which takes more than 40 steps, has settled
	if got := fixed.Settle(rec, []float64{0.01}); got != long {
		t.Errorf("with a short sequence %+v, without %+v", got, long)
	}
	*short = 43 // of which the last tenth is too little
	if got := fixed.Settle(rec, []float64{0.01}); got.Reached {
		t.Errorf("a sequence that may not have settled at its end: %+v", got)
	}
	slow, rec := forgetting(t, 0.9999, 400)
	if got := slow.Settle(rec, []float64{0.01}); got.Reached {
		t.Errorf("a unit that remembers 10,000 steps has settled after %d of 400", got.Steps)
	}
	if got := slow.Settle(rec, []float64{math.Inf(1)}); !got.Reached || got.Steps != 0 {
		t.Errorf("an output without a bound: %+v", got)
	}
}
