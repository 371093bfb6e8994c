package quant

import (
	"math"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// slowGate is the update gate's argument of a slow unit: 1/(1+exp(-8.5)) keeps
// 0.9998 of the state, which then moves by 0.0002·0.1·32768 = 0.7 steps of a
// 16-bit state when the candidate is 0.1 away, and by less than half a step
// from 0.075 on. Both constants are exact with the 11 fraction bits of the gates.
const (
	slowGate      = 8.5
	slowCandidate = 205.0 / 2048
	slowSteps     = 2000
)

// slowAndFast has two units without any weight to them: unit 0 creeps towards
// its candidate, unit 1 jumps to it. Output o reads unit o.
func slowAndFast() (*dataset.Float, *dataset.Recordings) {
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: 1, Units: 2,
		W: make([]float64, 6), U: make([]float64, 12),
		B: []float64{0, 0, slowGate, -2, slowCandidate, slowCandidate}, D: make([]float64, 6)}
	head := &model.Dense{Inputs: 2, Outputs: 2, W: []float64{1, 0, 0, 1}, B: []float64{0, 0}}
	net := &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}}
	p := dataset.NewFloat(net, []dataset.Feature{{Name: "f", Std: 1}},
		[]dataset.Output{{Name: "slow", Std: 1}, {Name: "fast", Std: 1}})
	s := &dataset.Sequence{Name: "0", Scenario: "still", Steps: slowSteps,
		X: make([]float64, slowSteps), Y: make([]float64, 2*slowSteps)}
	return p, &dataset.Recordings{Features: 1, Outputs: 2, Sequences: []*dataset.Sequence{s}}
}

func TestSlowUnitStallsWith16BitsAndFollowsWith32(t *testing.T) {
	p, rec := slowAndFast()
	want := make([]float64, 2*slowSteps)
	p.Predict(rec.Sequences[0], want)
	final := want[2*slowSteps-2]
	// Nodes and interpolation of the table round to half of a last place of
	// tanh each, together one last place, 2^-16 of the gate. In every step
	// that acts on at most the whole distance; the candidate's own error comes on top.
	follows := slowSteps*math.Ldexp(1, -16)*math.Tanh(slowCandidate) + WorstTanhError

	for _, stateBits := range []int{16, 32} {
		net := mustQuantize(t, p, Calibrate(p, rec), Widths(16, 16, 16, stateBits))
		if net.Layers[0].GateFraction != 11 {
			t.Fatalf("%d gate fraction bits, the constants above assume 11",
				net.Layers[0].GateFraction)
		}
		got := make([]float64, 2*slowSteps)
		net.Predict(rec.Sequences[0], got)
		counts := net.Count(rec)
		off := math.Abs(got[2*slowSteps-2] - final)
		t.Logf("int%d state: slow unit %.5f after %d steps, float %.5f, stalled on %d steps",
			stateBits, got[2*slowSteps-2], slowSteps, final, counts.Layers[0].Stalled[0])
		if counts.Steps != slowSteps {
			t.Errorf("%d steps counted, want %d", counts.Steps, slowSteps)
		}
		if stateBits == 16 {
			if off <= follows {
				t.Errorf("int16 state is off by %.2g only: this case does not stall", off)
			}
			if !slices.Equal(counts.StalledUnits()[0], []int{0}) {
				t.Errorf("stalled units %v, want [0]", counts.StalledUnits())
			}
			continue
		}
		if off > follows {
			t.Errorf("int32 state is off by %.2g, want at most %.2g", off, follows)
		}
		if counts.Layers[0].Stalled[0] != 0 || len(counts.StalledUnits()[0]) != 0 {
			t.Errorf("int32 state: stalled on %d steps, units %v; want none",
				counts.Layers[0].Stalled[0], counts.StalledUnits())
		}
	}
}

// The 16-bit view of a 32-bit state rounds to nearest, halves upwards, and
// saturates at the end that 16 bits do not have.
func TestNarrowRoundsAndSaturates(t *testing.T) {
	for _, c := range []struct{ wide, want int32 }{
		{0, 0}, {16383, 0}, {16384, 1}, {-16384, 0}, {-16385, -1}, {3 << 15, 3}, {1<<30 - 1, 32767},
		{1 << 30, 32767}, {-1 << 30, -32768},
	} {
		if got := narrow(c.wide, 15); got != c.want {
			t.Errorf("narrow(%d, 15) = %d, want %d", c.wide, got, c.want)
		}
	}
}

// Inputs and Gates count what left its range, and nothing else.
func TestCountsOfValuesAtTheEndOfTheirRange(t *testing.T) {
	p, rec := slowAndFast()
	p.Net.Recurrent[0].W[0] = 1 // unit 0's reset gate reads the feature
	net := mustQuantize(t, p, Ranges(1, 1), Widths(16, 16, 16, 16))
	// 14 input fraction bits end at ±2, 12 gate fraction bits at ±8: the slow
	// gate's 8.5 saturates on every step, and the feature on three.
	x := rec.Sequences[0].X
	x[10], x[11], x[12], x[13] = 3, -3, 1e6, 1.5
	counts := net.Count(rec)
	if net.InputFraction != 14 || net.Layers[0].GateFraction != 12 {
		t.Fatalf("%d and %d fraction bits, want 14 and 12", net.InputFraction,
			net.Layers[0].GateFraction)
	}
	if counts.Inputs != 3 || counts.Layers[0].Gates != slowSteps {
		t.Errorf("%d inputs and %d gates, want 3 and %d", counts.Inputs, counts.Layers[0].Gates,
			slowSteps)
	}
}

// An output counts as at an end of its range from 99 % of it on.
func TestOutputsAtTheEndOfTheirRange(t *testing.T) {
	c := &LayerCounts{Low: make([]int32, 4), High: make([]int32, 4), AtEnd: make([]int, 4)}
	c.outputs([]int32{endOfRange, -endOfRange, endOfRange - 1, 1 - endOfRange})
	if want := []int{1, 1, 0, 0}; !slices.Equal(c.AtEnd, want) {
		t.Errorf("at an end: %v, want %v", c.AtEnd, want)
	}
}

// A cell counts at either end of its range and at no value within.
func TestCellsAtTheEndOfTheirRange(t *testing.T) {
	for bits, ends := range map[int][2]int32{16: {-32768, 32767}, 32: {-1 << 30, 1 << 30}} {
		q := &Layer{Formats: LayerFormats{StateBits: bits}}
		for v, want := range map[int32]int{ends[0]: 1, ends[1]: 1, ends[0] + 1: 0, ends[1] - 1: 0,
			0: 0} {
			var c LayerCounts
			if c.cell(q, v); c.Cells != want {
				t.Errorf("int%d: a cell of %d counts %d times, want %d", bits, v, c.Cells, want)
			}
		}
	}
}

// The saturated values are the gates and the cells of all layers.
func TestSaturatedAddsUpLayers(t *testing.T) {
	c := &Counts{Layers: []*LayerCounts{{Gates: 3, Cells: 40}, {Gates: 500}}}
	if got := c.Saturated(); got != 543 {
		t.Errorf("%d values, want 543", got)
	}
}
