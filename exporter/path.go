package exporter

import (
	"strconv"
	"strings"

	"kerf/budget"
)

// PathRow is one attempt of the cut, on selection recordings.
type PathRow struct {
	Item      string    `json:"item"`
	Name      string    `json:"name"`
	Share     float64   `json:"share"`
	Taken     bool      `json:"taken"`
	Features  int       `json:"features"`
	Units     int       `json:"units"`
	Tightest  string    `json:"tightest"`
	Value     *float64  `json:"value"`
	MayReach  *float64  `json:"may_reach"` // upper end to expect on the sign-off recordings
	Tolerance float64   `json:"tolerance"`
	On        string    `json:"tolerance_on"` // "rise" or "fixed"
	Flash     []float64 `json:"flash"`        // B, one per target
	Cycles    []float64 `json:"cycles"`       // one per target
}

func pathRow(p budget.PathStep) PathRow {
	value, _ := p.Tightest.JudgedValue()
	row := PathRow{
		Item: p.Item, Name: p.Name, Share: p.Share, Taken: p.Taken,
		Features: len(p.Candidate.Features), Units: p.Candidate.UnitCount(),
		Tightest: tightest(p.Tightest),
		Value:    Finite(value), MayReach: Finite(p.MayReach), Tolerance: p.Tightest.Tolerance, On: toleranceOn(p.Tightest),
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

// PathTable has a row per attempt of the cut.
func (s *Signoff) PathTable() Table {
	t := Table{Title: "The cut, step by step, on selection recordings (F features, U units stay)", Head: []string{"item", "share", "outcome", "features", "units", "tightest row", "value", "may reach", "limit"}, Numbers: 6}
	for _, name := range s.TargetNames() {
		t.Head = append(t.Head, "flash "+name, "cycles "+name)
	}
	for _, p := range s.Path {
		outcome := "kept"
		if p.Taken {
			outcome = "cut"
		}
		show := shownAs(p.On)
		row := []string{strings.ReplaceAll(p.Item, "_", " ") + " " + p.Name, percent(&p.Share), outcome, strconv.Itoa(p.Features), strconv.Itoa(p.Units), p.Tightest, optional(p.Value, show), optional(p.MayReach, show), show(p.Tolerance)}
		for i := range p.Flash {
			row = append(row, Quantity(p.Flash[i], "B"), Quantity(p.Cycles[i], "cycles"))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
