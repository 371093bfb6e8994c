package report

import "kerf/budget"

// TightestRow names the tightest judged row on selection recordings.
type TightestRow struct {
	RowText string          `json:"tightest"` // empty where no row is judged
	Row     *budget.RowName `json:"tightest_row,omitempty"`
}

// Reach is what that row may reach on the sign-off recordings, and its tolerance.
type Reach struct {
	// MayReach is the upper end to expect there; nil where it has no end or is no number.
	MayReach  *float64           `json:"may_reach"`
	Tolerance float64            `json:"tolerance"`
	On        budget.ToleranceOn `json:"tolerance_on"`
}

// Tightest is the tightest judged row, with what it may reach. Rows of attempts embed
// it, so that its fields stand among theirs in JSON.
type Tightest struct {
	TightestRow
	Reach
}

// newTightest is made of a judged row on selection recordings.
func newTightest(l budget.Loss) Tightest { return Tightest{newTightestRow(l), newReach(l)} }

// newTightestRow names a judged row; a row without an output stands for none.
func newTightestRow(l budget.Loss) TightestRow {
	if l.Output == "" {
		return TightestRow{}
	}
	return TightestRow{RowText: l.Text(), Row: &l.RowName}
}

// TightestText returns the name of the row. A file of an older kerf has other words for it.
func (r TightestRow) TightestText() string {
	if r.Row != nil {
		return r.Row.Text()
	}
	return r.RowText
}

// newReach is made of a judged row on selection recordings.
func newReach(l budget.Loss) Reach { return Reach{Finite(l.MayReach), l.Tolerance, l.On()} }
