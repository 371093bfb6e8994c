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

// A share shows on which side of the whole it is, and is never below nothing.
func TestUsedInWholePercent(t *testing.T) {
	for want, v := range map[string]float64{"86 %": 0.8612, "102 %": 1.021, "100.3 %": 1.003,
		"100 %": 0.9996, "0 %": -2.53} {
		if got := UsedPercent(&v); got != want {
			t.Errorf("%g: %q, want %q", v, got, want)
		}
	}
}

// Of a least value the limit is a share of the value.
func TestUsedOfALeastValue(t *testing.T) {
	limit := 100.0
	row := CostRow{Value: 952, Limit: &limit, AtLeast: true}
	if got := UsedPercent(row.Used()); got != "11 %" {
		t.Errorf("used is %q, want 11 %%", got)
	}
}

// The sign of a number stands at its first group.
func TestNumbersInGroups(t *testing.T) {
	for want, v := range map[string]float64{"-510": -510, "-24 510": -24510, "0": 0, "999": 999,
		"1 000": 1000} {
		if got := Quantity(v, "cycles"); got != want {
			t.Errorf("%g: %q, want %q", v, got, want)
		}
	}
}
