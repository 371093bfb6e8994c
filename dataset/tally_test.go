package dataset

import "testing"

// By hand: errors of 3 and -4 have an RMSE of the root of 12.5, a mean magnitude of 3.5 and a mean
// of -0.5. Of three classes, one of two steps of the first and the one step of the last are right.
func TestTallyByHand(t *testing.T) {
	var a, b Tally
	a.Add(3)
	b.Add(-4)
	a.Merge(&b)
	for metric, want := range map[Metric]float64{RMSE: 3.5355339059327378, MAE: 3.5, MaxError: 4,
		Bias: -0.5} {
		if got := a.Value(metric); got != want {
			t.Errorf("%s is %g, want %g", metric, got, want)
		}
	}
	var c, d Tally
	c.AddClass(3, 0, 0)
	d.AddClass(3, 0, 2)
	d.AddClass(3, 2, 2)
	c.Merge(&d)
	for metric, want := range map[Metric]float64{Accuracy: 2.0 / 3, BalancedAccuracy: 0.75} {
		if got := c.Value(metric); got != want {
			t.Errorf("%s is %g, want %g", metric, got, want)
		}
	}
	if a.Steps() != 2 || c.Steps() != 3 {
		t.Errorf("%d and %d steps", a.Steps(), c.Steps())
	}
	defer func() {
		if recover() == nil {
			t.Error("a tally has an agreement with nothing")
		}
	}()
	c.Value(Agreement)
}
