package quant

import (
	"slices"
	"testing"

	"kerf/model"
)

// A unit without weights stays where its bias puts it: at 0 it is dead; one
// whose output jumps to 1 in the first step and stays there stands at its end.
func TestDeadAndSaturatedUnits(t *testing.T) {
	p := layered(5, []model.Kind{model.ElmanTanh}, []model.Activation{model.Identity})
	l := p.Net.Recurrent[0]
	for _, j := range []int{2, 6} {
		for c := range l.Inputs {
			l.W[j*l.Inputs+c] = 0
		}
		for c := range l.Units {
			l.U[j*l.Units+c] = 0
		}
		l.B[j], l.D[j] = 0, 0
	}
	l.U[6*l.Units+6], l.B[6] = 3, 0.5 // creeps up to tanh(3h + 0.5), near 1
	rec := RandomRecordings(5, p, 1, 1000)
	counts := mustQuantize(t, p, Calibrate(p, rec), Uniform(p.Net, 16, 16, 16)).Count(rec)
	if dead := counts.DeadUnits()[0]; len(dead) != 1 || dead[0] != 2 {
		t.Errorf("dead units %v, want [2]", dead)
	}
	if saturated := counts.SaturatedUnits()[0]; len(saturated) != 1 || saturated[0] != 6 {
		t.Errorf("saturated units %v, want [6]", saturated)
	}
}

// Inputs and Gates count the values that leave their range, and no others.
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
