package report

import (
	"testing"

	"kerf/budget"
)

// Only the long verdict is shown in other words.
func TestShortVerdict(t *testing.T) {
	for verdict, want := range map[budget.Verdict]string{"": "", budget.Pass: "pass",
		budget.Fail: "fail", budget.NotEnough: "not enough"} {
		if got := ShortVerdict(verdict); got != want {
			t.Errorf("%q is shown as %q, want %q", verdict, got, want)
		}
	}
}

// A margin that is just beyond its limit shows its sign and its size.
func TestMarginsInWholePercent(t *testing.T) {
	for want, v := range map[string]float64{"86 %": 0.8612, "-2 %": -0.021, "-0.3 %": -0.003,
		"0 %": 0.004} {
		if got := roundPercent(&v); got != want {
			t.Errorf("%g: %q, want %q", v, got, want)
		}
	}
}
