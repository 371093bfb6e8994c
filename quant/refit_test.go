package quant

import (
	"math"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// Coarse recurrent weights leave the head something to make good: with the
// refitted one the network is nearer to the float network on the recordings that
// it is calibrated on.
func TestRefitBringsTheOutputNearer(t *testing.T) {
	demoJob, _, _ := jobs(t)
	selection := demoJob.selection
	distance := func(c Calibration) float64 {
		n, err := Quantize(demoJob.p, c, Widths(4, 4, 16, 16), AtState)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for _, s := range selection.Sequences {
			want, got := make([]float64, len(s.Y)), make([]float64, len(s.Y))
			demoJob.p.Predict(s, want)
			n.Predict(s, got)
			for i := range want {
				sum += (want[i] - got[i]) * (want[i] - got[i])
			}
		}
		return math.Sqrt(sum)
	}
	blind := demoJob.calibration
	blind.recordings = nil // nothing to refit on
	before, after := distance(blind), distance(demoJob.calibration)
	t.Logf("distance %.4g, refitted %.4g", before, after)
	if after > 0.95*before {
		t.Errorf("the refitted head is %.4g away, the given one %.4g", after, before)
	}
}

// By hand: one input v = -1, 1, whose output misses 3 v + 5. With λ = 1 % of the variance 1 the
// weight rises by 3/1.01, the bias by 5.
func TestCorrectedIsTheRidgeRegression(t *testing.T) {
	sum := newMomentSum(2)
	sum.add([]float64{-1, 2})
	sum.add([]float64{1, 8})
	d := corrected(&model.Dense{Inputs: 1, Outputs: 1, W: []float64{10}, B: []float64{1}},
		sum.moments())
	if math.Abs(d.W[0]-(10+3/1.01)) > 1e-12 || math.Abs(d.B[0]-6) > 1e-12 {
		t.Errorf("weight %g, bias %g; want %g, 6", d.W[0], d.B[0], 10+3/1.01)
	}
	// The same with v = 1, 3: what the weight adds at the mean 2 comes off the mean miss, 11.
	sum = newMomentSum(2)
	sum.add([]float64{1, 8})
	sum.add([]float64{3, 14})
	d = corrected(&model.Dense{Inputs: 1, Outputs: 1, W: []float64{10}, B: []float64{1}},
		sum.moments())
	if want := 1 + 11 - 2*3/1.01; math.Abs(d.W[0]-(10+3/1.01)) > 1e-12 ||
		math.Abs(d.B[0]-want) > 1e-12 {
		t.Errorf("weight %g, bias %g; want %g, %g", d.W[0], d.B[0], 10+3/1.01, want)
	}
}

// By hand: two inputs v and w of variance 1 and covariance 0, so that each takes up its own part of
// what an output misses. Outputs that miss 3 v + 5 w + 1 and 7 v - 2 w + 4 change the weights by 3,
// 5, 7 and -2, over 1.01, and the biases by 1 and 4.
func TestCorrectedTreatsEveryOutputByItself(t *testing.T) {
	sum := newMomentSum(4)
	for _, in := range [][2]float64{{-1, -1}, {-1, 1}, {1, -1}, {1, 1}} {
		v, w := in[0], in[1]
		sum.add([]float64{v, w, 3*v + 5*w + 1, 7*v - 2*w + 4})
	}
	d := corrected(&model.Dense{Inputs: 2, Outputs: 2, W: []float64{10, 20, 30, 40},
		B: []float64{0.5, 0.25}}, sum.moments())
	for i, want := range []float64{10 + 3/1.01, 20 + 5/1.01, 30 + 7/1.01, 40 - 2/1.01} {
		if math.Abs(d.W[i]-want) > 1e-12 {
			t.Errorf("weight %d is %g, want %g", i, d.W[i], want)
		}
	}
	if math.Abs(d.B[0]-1.5) > 1e-12 || math.Abs(d.B[1]-4.25) > 1e-12 {
		t.Errorf("biases %v, want 1.5 and 4.25", d.B)
	}
}

// A head with an activation, and one whose inputs never change, stay as given.
func TestRefitLeavesOtherHeads(t *testing.T) {
	p := layered(5, []model.Kind{model.GRUResetAfter}, []model.Activation{model.Tanh})
	c := Calibrate(p, RandomRecordings(6, p, 2, 20))
	n := mustQuantize(t, p, c, Uniform(p.Net, 8, 8, 16))
	if n.refit(p.Net.Dense[0], &c) != p.Net.Dense[0] {
		t.Error("a head with tanh is refitted")
	}
	d := &model.Dense{Inputs: 1, Outputs: 1, W: []float64{1}, B: []float64{0}}
	sum := newMomentSum(2)
	sum.add([]float64{0, 1})
	sum.add([]float64{0, 3})
	if corrected(d, sum.moments()) != d {
		t.Error("a head whose input never changes is refitted")
	}
}

func mustRoundPartial(t *testing.T, p *dataset.Float, c Calibration, partial *Partial) *Network {
	t.Helper()
	n, err := quantizePartial(p, c, Widths(16, 16, 16, 32), Compensated, partial)
	if err != nil {
		t.Fatal(err)
	}
	return n
}
