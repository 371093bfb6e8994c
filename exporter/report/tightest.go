package report

import (
	"fmt"

	"kerf/budget"
)

// TightestRow names the judged row with the least room on selection recordings.
type TightestRow struct {
	RowInWords string          `json:"tightest"`
	Row        *budget.RowName `json:"tightest_row,omitempty"` // nil where no row is judged
}

// Reach is what that row may reach on the sign-off recordings, and its tolerance.
type Reach struct {
	// MayReach is the upper end to expect there; nil where it has no end or is no number.
	MayReach  *float64           `json:"may_reach"`
	Tolerance float64            `json:"tolerance"`
	On        budget.ToleranceOn `json:"tolerance_on"`
}

// Tightest is the judged row with the least room, with what it may reach. Rows of attempts embed
// it, so that its fields stand among theirs in JSON.
type Tightest struct {
	TightestRow
	Reach
}

// newTightest is made of a judged row on selection recordings.
func newTightest(l budget.Loss) Tightest { return Tightest{newTightestRow(l), newReach(l)} }

// newTightestRow names a judged row; a row without an output stands for none.
func newTightestRow(l budget.Loss) TightestRow {
	row := TightestRow{RowInWords: rowInWords(l.RowName)}
	if l.Output != "" {
		row.Row = &l.RowName
	}
	return row
}

// newReach is made of a judged row on selection recordings.
func newReach(l budget.Loss) Reach { return Reach{Finite(l.MayReach), l.Tolerance, l.On()} }

// rowInWords names a judged row in a few words.
func rowInWords(n budget.RowName) string {
	return fmt.Sprintf("%s %s, %s", n.Output, n.Metric, n.WhereInWords())
}
