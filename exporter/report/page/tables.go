package page

import (
	"html/template"
	"slices"
	"strings"
	"unicode/utf8"

	"kerf/budget"
	"kerf/exporter/report"
)

// table is a table as the page shows it.
type table struct {
	Title  string
	Common string // what every row says, which has no column
	Head   []column
	Rows   []tableRow
}

// column is the head of one column.
type column struct {
	Name  string
	Right bool // it holds numbers
}

// tableRow is one row.
type tableRow struct {
	ID    string // of a candidate
	Class string // of its verdict
	Cells []cell
}

// cell is one cell. Where a narrow screen shows a row as a list, its head stands before it.
type cell struct {
	column
	Text string
	Bar  template.HTML // in place of the text
}

// Class returns the classes of the cell.
func (c cell) Class() string {
	const longWord = 24 // characters; a longer one may be broken
	isLong := slices.ContainsFunc(strings.Fields(c.Text), func(word string) bool {
		return utf8.RuneCountInString(word) > longWord
	})
	switch {
	case c.Right:
		return "n"
	case isLong:
		return "long"
	}
	return ""
}

// verdictHead is the head of the columns of verdicts, usedHead that of shares of limits.
const verdictHead, usedHead = "verdict", "used"

// newTable shows a table of the report. A column that says the same in every row has no column: it
// stands once above the rows.
func newTable(t report.Table) table {
	shown := table{Title: t.Title}
	var kept []int
	for i, head := range t.Head {
		same := len(t.Rows) > 1 && i > 0 && !slices.ContainsFunc(t.Rows, func(r []string) bool {
			return r[i] != t.Rows[0][i]
		})
		if !same {
			kept = append(kept, i)
			shown.Head = append(shown.Head, column{head, t.RightAligned(i)})
			continue
		}
		if text := t.Rows[0][i]; text != "" {
			if shown.Common != "" {
				shown.Common += ", "
			}
			shown.Common += head + " " + text
		}
	}
	verdict := slices.Index(t.Head, verdictHead)
	for _, cells := range t.Rows {
		row := tableRow{}
		for k, i := range kept {
			row.Cells = append(row.Cells, cell{column: shown.Head[k], Text: noBreak(cells[i])})
		}
		if verdict >= 0 {
			row.Class = shortVerdictClass(cells[verdict])
		}
		shown.Rows = append(shown.Rows, row)
	}
	return shown
}

// newTables shows several tables.
func newTables(all []report.Table) []table {
	var shown []table
	for _, t := range all {
		shown = append(shown, newTable(t))
	}
	return shown
}

// shortVerdictClass returns the class of a row by its verdict as tables show it.
func shortVerdictClass(verdict string) string {
	for _, v := range []budget.Verdict{budget.Fail, budget.NotEnough,
		budget.NoEstimate} {
		if verdict == report.ShortVerdict(v) {
			return rowClass(v)
		}
	}
	return ""
}

// judgedTables splits a table in the rows that are judged, with a bar of the share that each uses,
// and all others. used has the share of every row of the table.
func judgedTables(t report.Table, used []*float64) (judged, others table) {
	verdict := slices.Index(t.Head, verdictHead)
	yes, no := t, t
	yes.Rows, no.Rows = nil, nil
	var bars []template.HTML
	for i, r := range t.Rows {
		if r[verdict] == "" {
			no.Rows = append(no.Rows, r)
			continue
		}
		yes.Rows = append(yes.Rows, r)
		bars = append(bars, usedBar(used[i], shortVerdictClass(r[verdict])))
	}
	judged, others = newTable(yes), newTable(no)
	at := slices.IndexFunc(judged.Head, func(c column) bool { return c.Name == usedHead })
	if at < 0 {
		return judged, others
	}
	bar := column{Name: "of the limit"}
	judged.Head = slices.Insert(judged.Head, at+1, bar)
	for i := range judged.Rows {
		judged.Rows[i].Cells = slices.Insert(judged.Rows[i].Cells, at+1,
			cell{column: bar, Bar: bars[i]})
	}
	return judged, others
}

// accuracyTables returns the rows of the accuracy that are judged, and the others.
func accuracyTables(s *report.Signoff) (judged, others table) {
	var used []*float64
	for i := range s.Loss {
		used = append(used, s.Loss[i].Used())
	}
	judged, others = judgedTables(s.AccuracyTable(), used)
	others.Title = "Rows of the accuracy without a tolerance"
	return judged, others
}

// costTables returns the rows of the cost that are judged, and all other tables of the cost.
func costTables(s *report.Signoff) (judged table, others []table) {
	var used []*float64
	for i := range s.Cost {
		used = append(used, s.Cost[i].Used())
	}
	all := s.AllCostTables()
	all[0] = withoutColumn(all[0], report.CompilerHead) // which stands above the tables
	judged, rest := judgedTables(all[0], used)
	rest.Title = "Parts of the cost, and totals without a limit"
	return judged, append([]table{rest}, newTables(all[1:])...)
}

// explainedTables returns what the network explains over all sign-off recordings, and the shares in
// every place and on selection recordings.
func explainedTables(s *report.Signoff) (all, others table) {
	t := s.ExplainedTable()
	yes, no := t, t
	yes.Rows, no.Rows = nil, nil
	for i, x := range s.Explained {
		if x.On == budget.SignoffSet && x.IsEverywhere() {
			yes.Rows = append(yes.Rows, t.Rows[i])
		} else {
			no.Rows = append(no.Rows, t.Rows[i])
		}
	}
	no.Title = "What the network explains in every scenario and region, and on selection recordings"
	return newTable(yes), newTable(no)
}

// attemptTable has every attempt of the cut, without the cost on every target, which would make it
// wider than the page.
func attemptTable(s *report.Signoff) report.Table {
	t := s.PathTable()
	columns := len(t.Head) - 2*len(s.TargetNames()) // flash and cycles of each target stand last
	t.Head = t.Head[:columns]
	for i, r := range t.Rows {
		t.Rows[i] = r[:columns]
	}
	return t
}

// withoutColumn returns a table without its last column, if that has the given head.
func withoutColumn(t report.Table, head string) report.Table {
	last := len(t.Head) - 1
	if t.Head[last] != head {
		return t
	}
	t.Head, t.Words = t.Head[:last], t.Words-1
	for i, row := range t.Rows {
		t.Rows[i] = row[:last]
	}
	return t
}
