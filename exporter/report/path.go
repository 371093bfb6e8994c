package report

import (
	"strconv"

	"kerf/budget"
	"kerf/dataset"
)

// PathRow is one attempt of the cut, on selection recordings: a [budget.PathStep] in words and
// totals.
type PathRow struct {
	Item     string   `json:"item"`
	Name     string   `json:"name"`            // in words; of what goes together, with commas
	Names    []string `json:"names,omitempty"` // the same, one by one
	Share    float64  `json:"share"`
	Taken    bool     `json:"taken"`
	Features int      `json:"features"`
	Units    int      `json:"units"`
	TightestRow
	Value *float64 `json:"value"`
	Reach
	Flash  []float64 `json:"flash"`  // B, one per target
	Cycles []float64 `json:"cycles"` // one per target
}

// pathRow is made of one attempt.
func pathRow(p budget.PathStep) PathRow {
	value, _ := p.Tightest.JudgedValue()
	row := PathRow{
		Item: p.Item, Name: dataset.ListNames(p.Names), Names: p.Names, Share: p.Share,
		Taken: p.Taken, Features: len(p.Candidate.Features), Units: p.Candidate.UnitCount(),
		TightestRow: newTightestRow(p.Tightest), Value: Finite(value), Reach: newReach(p.Tightest),
	}
	for _, c := range p.Costs {
		if c.Part != budget.Total {
			continue
		}
		switch c.Resource {
		case budget.Flash:
			row.Flash = append(row.Flash, c.Value)
		case budget.Cycles:
			row.Cycles = append(row.Cycles, c.Value)
		}
	}
	return row
}

// pathTitle is the title of the tables of attempts.
const pathTitle = "The cut, step by step, on selection recordings (F features, U units stay)"

// PathTable has a row per attempt of the cut.
func (s *Signoff) PathTable() Table {
	t := Table{Title: pathTitle, Head: []string{"item", "share", "outcome", "features", "units",
		"tightest row", "value", "may reach", "limit"}, Numbers: 6}
	targets := s.TargetNames()
	for _, name := range targets {
		t.Head = append(t.Head, "flash "+name, "cycles "+name)
	}
	for _, p := range s.Path {
		show := shownAs(p.Row, p.On)
		row := []string{p.Title(), OptionalPercent(&p.Share), p.outcome(), strconv.Itoa(p.Features),
			strconv.Itoa(p.Units), p.TightestText(), Optional(p.Value, show),
			Optional(p.MayReach, show),
			show(p.Tolerance)}
		for i := range targets {
			flash, cycles := p.left(i)
			row = append(row, flash, cycles)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// left returns flash and cycles of a target after an attempt; they are empty where the row lacks
// them, as in a changed file.
func (p *PathRow) left(target int) (flash, cycles string) {
	if target >= min(len(p.Flash), len(p.Cycles)) {
		return "", ""
	}
	return Quantity(p.Flash[target], "B"), Quantity(p.Cycles[target], "cycles")
}

// Title names what an attempt takes, with the word for it in front.
func (p *PathRow) Title() string { return Spaced(p.Item) + " " + p.Name }

// outcome says whether an attempt was taken.
func (p *PathRow) outcome() string {
	if p.Taken {
		return "cut"
	}
	return "kept"
}

// items names what an attempt takes, one by one; features stand without a word in front.
func (p *PathRow) items() []string {
	names := p.Names
	if p.Item == budget.FeatureItem {
		return names
	}
	items := make([]string, len(names))
	for i, name := range names {
		items[i] = Spaced(p.Item) + " " + name
	}
	return items
}

// StepTable has a row per item of every attempt. Items that go together are measured together: the
// figures stand in the last row of them.
func (s *Signoff) StepTable() Table {
	t := Table{Title: pathTitle, Head: []string{"item", "outcome", "F", "U", "may reach", "limit",
		"tightest row"}, Numbers: 2, Words: 1}
	for _, p := range s.Path {
		items := p.items()
		for i, item := range items {
			row := []string{item, p.outcome(), "", "", "", "", ""}
			if i == len(items)-1 {
				show := shownAs(p.Row, p.On)
				row = []string{item, p.outcome(), strconv.Itoa(p.Features), strconv.Itoa(p.Units),
					Optional(p.MayReach, show), show(p.Tolerance), p.TightestText()}
			}
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

// LeftTables have a row per attempt that was taken with the cost that it leaves, in a table per
// target.
func (s *Signoff) LeftTables() []Table {
	var tables []Table
	for t, target := range s.TargetNames() {
		left := Table{Title: "What each cut leaves", Head: []string{target, "flash", "cycles"},
			Numbers: 1}
		for _, p := range s.Path {
			if items := p.items(); p.Taken {
				flash, cycles := p.left(t)
				left.Rows = append(left.Rows, []string{items[len(items)-1], flash, cycles})
			}
		}
		if len(left.Rows) > 0 {
			tables = append(tables, left)
		}
	}
	return tables
}
