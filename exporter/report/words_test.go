package report

import (
	"testing"

	"kerf/budget"
)

// Columns before the first number and the words at the end stand to the left.
func TestRightAligned(t *testing.T) {
	table := Table{Head: []string{"output", "where", "float", "fixed", "verdict"}, Numbers: 2,
		Words: 1}
	for column, want := range []bool{false, false, true, true, false} {
		if table.RightAligned(column) != want {
			t.Errorf("column %q stands to the right: %v, want %v", table.Head[column], !want, want)
		}
	}
}

// Only the long verdict is shown in other words.
func TestShortVerdict(t *testing.T) {
	for verdict, want := range map[budget.Verdict]string{"": "", budget.Pass: "pass",
		budget.Fail: "fail", budget.NotEnough: "not enough"} {
		if got := ShortVerdict(verdict); got != want {
			t.Errorf("%q is shown as %q, want %q", verdict, got, want)
		}
	}
}

// Rows of a tensor have one number of fraction bits, or a range of them; a sign-off that others
// changed may name none.
func TestFormatTableShowsFractionBits(t *testing.T) {
	for want, bits := range map[string][]int{"": nil, "7": {7, 7}, "5 to 9, by row": {7, 9, 5}} {
		s := &Signoff{Formats: []FormatRow{{Layer: "layer", Tensor: "weight_ih", WordBits: 8,
			FractionBits: bits}}}
		if got := s.FormatTable().Rows[0][3]; got != want {
			t.Errorf("fraction bits %v are shown as %q, want %q", bits, got, want)
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
