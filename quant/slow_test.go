package quant

import (
	"math"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// slowGate is the argument of the update gate of a slow unit: 1/(1+exp(-8.5)) keeps 0.9998 of the
// state, which then moves by 0.0002·0.1·32768 = 0.7 steps of a 16-bit state when the candidate is
// 0.1 away, and by less than half a step from 0.075 on. Both constants are exact with the 11
// fraction bits of the gates.
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
