package report

import (
	"math"
	"testing"

	"kerf/budget"
)

// The reason gives the errors of a finding that has them, whatever is in the names, and none of one
// that has none.
func TestReasonOfAFinding(t *testing.T) {
	for _, c := range []struct {
		cause budget.Cause
		want  string
	}{
		{budget.Cause{Kind: budget.CauseScale, Place: "column supply; ripple of the recordings",
			Says: "seems to be in another unit", Output: "air", Unit: "%", Given: 3.5, With: 0.47},
			"column supply; ripple of the recordings seems to be in another unit, " +
				"error of air 3.500, read so 0.4700 %; see the first note"},
		{budget.Cause{Kind: budget.CauseUnexplained, Place: "model", Says: "explains nothing",
			Signoff: true, Given: math.NaN(), With: math.NaN(), Ratio: math.NaN()},
			"model explains nothing on the sign-off recordings, and no other reading of the job " +
				"that was tried helps; see the first note"},
	} {
		s := smallSignoff()
		s.addExamination(
			&budget.Result{Examination: &budget.Examination{Causes: []budget.Cause{c.cause}}})
		s.Verdict = budget.DoesNotFit
		if got := s.WhyNot(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
		if hasFigures := s.Causes[0].Given != nil || s.Causes[0].Ratio != nil; hasFigures !=
			(c.cause.With > 0) {
			t.Errorf("%s: figures %+v", c.want, s.Causes[0])
		}
	}
}

// How near other readings of the job come is said where none is a cause.
func TestReadingsThatWereTried(t *testing.T) {
	ratio := func(value, high float64) *CauseRow {
		return &CauseRow{Output: "air", Place: "features.csv line 3", Says: "has another mean",
			Ratio: &value, RatioHigh: &high}
	}
	for _, c := range []struct {
		tried   int
		nearest *CauseRow
		want    string
	}{
		{0, nil, ""},
		{12, nil, "Other readings of the job: 12 tried, none makes an error smaller."},
		{12, ratio(0.91, 1.01),
			"Other readings of the job: 12 tried, the nearest makes an error 9.0 % smaller."},
		{12, ratio(0.91, 0.99), "Other readings of the job: 12 tried, the nearest makes an error " +
			"9.0 % smaller (that of air: features.csv line 3 has another mean)."},
	} {
		if got := (&Signoff{Tried: c.tried, Nearest: c.nearest}).triedLine(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
