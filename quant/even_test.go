package quant

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"kerf/model"
)

// Evened columns compute the same function, and at full strength all columns
// weigh alike.
func TestEvenedColumnsComputeTheSame(t *testing.T) {
	p := RandomFloat(31, 6, 5, 2)
	l := p.Net.Recurrent[0]
	for r := range l.B {
		l.W[r*l.Inputs] *= 0.2 // a column of small weights
	}
	rec := RandomRecordings(32, p, 2, 60)
	c := Calibrate(p, rec)
	q, scaled := even(p, c, 1)
	again := Calibrate(q, rec)
	for _, s := range rec.Sequences {
		want, got := make([]float64, len(s.Y)), make([]float64, len(s.Y))
		p.Predict(s, want)
		q.Predict(s, got)
		for i := range want {
			if math.Abs(want[i]-got[i]) > 1e-9 {
				t.Fatalf("output %g, evened %g", want[i], got[i])
			}
		}
	}
	// The scaled calibration is that of the evened network.
	if math.Abs(scaled.Input-again.Input) > 1e-12 ||
		!mat.EqualApprox(scaled.Layers[0].Inputs.Covariance, again.Layers[0].Inputs.Covariance,
			1e-12) {
		t.Errorf("largest input %g, calibrated anew %g; or the covariances differ", scaled.Input,
			again.Input)
	}
	for r, m := range scaled.Layers[0].Followed {
		if !floats.EqualApprox(m.v, again.Layers[0].Followed[r].v, 1e-12) {
			t.Fatalf("row %d: the second moments are not those of the evened network", r)
		}
	}
	relative := func(net *model.Network) (least, most float64) {
		first := net.Recurrent[0]
		least = math.Inf(1)
		for c := range first.Inputs {
			sum := 0.0
			for r := range first.B {
				// The largest weight of the row is that of the given network.
				v := first.W[r*first.Inputs+c] / largest(l.W[r*l.Inputs:(r+1)*l.Inputs])
				sum += v * v
			}
			least, most = math.Min(least, sum), math.Max(most, sum)
		}
		return least, most
	}
	if least, most := relative(p.Net); most < 4*least {
		t.Fatalf("columns from %g to %g are even already", least, most)
	}
	if least, most := relative(q.Net); most > least*(1+1e-9) {
		t.Errorf("evened columns weigh %g to %g", least, most)
	}
}

// A column of zeros, as of a feature without use, keeps a scale that int16 holds.
func TestEvenKeepsBits(t *testing.T) {
	p := RandomFloat(33, 3, 4, 1)
	l := p.Net.Recurrent[0]
	for r := range l.B {
		l.W[r*l.Inputs+1] = 0
	}
	q, _ := even(p, Calibrate(p, RandomRecordings(34, p, 1, 20)), 1)
	if got := p.Features[1].Std / q.Features[1].Std; got != evenLeast {
		t.Errorf("the feature without weights is scaled by %g, want %g", got, evenLeast)
	}
}

// A row of zeros says nothing about the scale of a feature.
func TestEvenTakesRowsOfZeros(t *testing.T) {
	for _, zeros := range []int{4, 60} { // a row, all 15 rows
		p := RandomFloat(3, 4, 5, 1)
		clear(p.Net.Recurrent[0].W[:zeros])
		q, _ := even(p, Calibrate(p, RandomRecordings(3, p, 2, 20)), 1)
		for i, f := range q.Features {
			if !(f.Std > 0) || math.IsInf(f.Std, 0) {
				t.Errorf("%d zeros: feature %d gets the scale %g", zeros, i, f.Std)
			}
		}
	}
}
