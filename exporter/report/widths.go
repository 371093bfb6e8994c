package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kerf/budget"
)

// FormatRow is the fixed-point format of one tensor.
type FormatRow struct {
	Layer        string `json:"layer"`
	Tensor       string `json:"tensor"`
	WordBits     int    `json:"word_bits"`
	FractionBits []int  `json:"fraction_bits"` // per row
	Bound        int64  `json:"bound"`         // largest magnitude of an accumulator, over all rows
	Limit        int64  `json:"limit"`
}

// WidthRow is one attempt to narrow or widen a word, on selection recordings.
type WidthRow struct {
	What  string `json:"what"`
	Bits  int    `json:"bits"`
	Saved int    `json:"saved"` // B; below 0 it costs
	Taken bool   `json:"taken"`
	Tightest
	Blamed *float64 `json:"blamed_may_reach"` // the row of blame; nil where there is none
}

// widthRow is made of one attempt.
func widthRow(w budget.WidthStep) WidthRow {
	return WidthRow{What: w.What, Bits: w.Bits, Saved: w.Saved, Taken: w.Taken,
		Tightest: newTightest(w.Tightest)}
}

// BlameRow is the row of a broken tolerance, on selection recordings, and the wider word with which
// it may reach the least.
type BlameRow struct {
	Tightest      string             `json:"tightest"` // the row
	MayReach      *float64           `json:"may_reach"`
	FloatMayReach *float64           `json:"float_may_reach"`
	Tolerance     float64            `json:"tolerance"`
	On            budget.ToleranceOn `json:"tolerance_on"`
	What          string             `json:"what"` // tensor or state; empty: no word is to blame
	Bits          int                `json:"bits"`
}

// blameRow is made of a blame, with or without a word.
func blameRow(b *budget.Blame) *BlameRow {
	row := &BlameRow{
		Tightest: b.Row.Text(), MayReach: Finite(b.Row.MayReach),
		FloatMayReach: Finite(b.Row.FloatMayReach),
		Tolerance:     b.Row.Tolerance, On: b.Row.On(),
	}
	if b.Step != nil {
		row.What, row.Bits = b.Step.What, b.Step.Bits
	}
	return row
}

// ForcedRow is one word that stays wide, with the fewest units that need it, on selection
// recordings. What it names with rest is measured with the wide word for these alone.
type ForcedRow struct {
	What    string `json:"what"`
	Bits    int    `json:"bits"`
	Refused int    `json:"refused_bits"`
	Tightest
	Of           string              `json:"of"` // units (numbered as trained) or outputs
	Units        []budget.ForcedUnit `json:"units"`
	All          int                 `json:"all"`            // units or outputs there are
	RestMayReach *float64            `json:"rest_may_reach"` // when only these keep the wide word
	RestTightest string              `json:"rest_tightest"`
	RestRow      *budget.RowName     `json:"rest_tightest_row,omitempty"`
	RestUsed     *float64            `json:"rest_used"` // the largest share of any tolerance then
	// without the last of them; nil where there is one
	OneLess *float64 `json:"one_less"`
}

// forcedRow is made of one word that stays wide.
func forcedRow(f budget.Forced) ForcedRow {
	rest := newTightest(f.Rest)
	row := ForcedRow{
		What: f.What, Bits: f.Bits, Refused: f.Narrower, Tightest: newTightest(f.Tightest),
		Of: f.Of, Units: append([]budget.ForcedUnit{}, f.Rows...), All: f.All,
		RestMayReach: rest.MayReach, RestTightest: rest.RowText, RestRow: rest.Row,
		RestUsed: Finite(f.RestUsed),
	}
	if len(f.Rows) > 1 {
		row.OneLess = Finite(f.OneLess)
	}
	return row
}

// RoundingRow is what one way of rounding gives on selection recordings that it was not calibrated
// on.
type RoundingRow struct {
	Rounding string `json:"rounding"`
	// from the float network: root sum square over outputs, in its RMSEs
	Distance *float64 `json:"distance"`
	Taken    bool     `json:"taken"`
	Tightest
}

// WordTables are about the choice of words and rounding, and about the largest errors of fixed
// point. A table of wider words is there only for a broken tolerance.
func (s *Signoff) WordTables() []Table {
	tables := []Table{s.WidthTable(), s.ForcedTable()}
	if len(s.Wider) > 0 {
		tables = append(tables, s.WiderTable())
	}
	return append(append(tables, s.RoundingTable()), s.extremeTables()...)
}

// WidthTable has a row per attempt to narrow a word.
func (s *Signoff) WidthTable() Table {
	return widthTable("Word widths, one by one, on selection recordings", "saves", 1, s.Widths)
}

// WiderTable has a row per wider word, where a tolerance is broken.
func (s *Signoff) WiderTable() Table {
	return widthTable("What a wider word would give, each by itself, on selection recordings",
		"costs", -1, s.Wider)
}

// widthTable has a row per attempt; bytes heads the column of bytes, and sign turns what is saved
// into what the column shows.
func widthTable(title, bytes string, sign int, rows []WidthRow) Table {
	t := Table{Title: title, Head: []string{"what", "word", "outcome", bytes, "may reach", "limit",
		"tightest row"}, Numbers: 3, Words: 1}
	for _, w := range rows {
		outcome := "left"
		if w.Taken {
			outcome = "taken"
		}
		show := shownAs(w.Row, w.On)
		t.Rows = append(t.Rows,
			[]string{w.What, fmt.Sprintf("int%d", w.Bits), outcome,
				Quantity(float64(sign*w.Saved), "B"), Optional(w.MayReach, show), show(w.Tolerance),
				w.text()})
	}
	return t
}

// ForcedTable has a row per unit that needs a wide word.
func (s *Signoff) ForcedTable() Table {
	t := Table{Title: "Who needs the wide words: the fewest with which all others could be " +
		"narrower, on selection recordings", Head: []string{"what", "word", "refused", "who",
		"share of error", "memory", "stalled"}, Numbers: 4}
	for _, f := range s.Forced {
		for _, u := range f.Units {
			memory, stalled := "", ""
			if u.Memory > 0 {
				memory = fmt.Sprintf("%.0f steps", u.Memory)
			}
			if u.Stalled > 0 {
				stalled = fmt.Sprintf("%d of %d", u.Stalled, u.Steps)
			}
			t.Rows = append(t.Rows,
				[]string{f.What, fmt.Sprintf("int%d", f.Bits), fmt.Sprintf("int%d", f.Refused),
					strings.TrimSuffix(f.Of, "s") + " " + u.Name, wholePercent(u.Share), memory,
					stalled})
		}
	}
	return t
}

// RoundingTable compares the ways of rounding for the chosen words.
func (s *Signoff) RoundingTable() Table {
	t := Table{Title: "Rounding of the weights, on selection recordings that it was not " +
		"calibrated on", Head: []string{"rounding", "outcome", "distance", "may reach", "limit",
		"tightest row"}, Numbers: 2, Words: 1}
	for _, r := range s.Rounding {
		outcome := "left"
		if r.Taken {
			outcome = "taken"
		}
		show := shownAs(r.Row, r.On)
		t.Rows = append(t.Rows, []string{r.Rounding, outcome, OptionalPercent(r.Distance),
			Optional(r.MayReach, show), show(r.Tolerance), r.text()})
	}
	return t
}

// FormatTable has a row per tensor.
func (s *Signoff) FormatTable() Table {
	t := Table{Title: "Number formats and proven accumulator bounds",
		Head: []string{"layer", "tensor", "word", "fraction bits", "largest accumulator",
			"limit"},
		Numbers: 3}
	for _, f := range s.Formats {
		bits := ""
		if len(f.FractionBits) > 0 {
			low, high := slices.Min(f.FractionBits), slices.Max(f.FractionBits)
			bits = strconv.Itoa(low)
			if low != high {
				bits = fmt.Sprintf("%d to %d, by row", low, high)
			}
		}
		t.Rows = append(t.Rows, []string{f.Layer, f.Tensor, fmt.Sprintf("int%d", f.WordBits), bits,
			strconv.FormatInt(f.Bound, 10), strconv.FormatInt(f.Limit, 10)})
	}
	return t
}
