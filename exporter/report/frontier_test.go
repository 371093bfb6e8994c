package report

import (
	"encoding/json"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/budget"
)

// The frontier in signoff.json: every candidate names the one it was made of, what is gone, its
// losses against the tolerances and its cost on every target; the chosen one is the network of the
// report.
func TestFrontierInSignoff(t *testing.T) {
	in, err := budget.Load(filepath.Join("..", "..", "testdata", "cityweather", "job.toml"))
	if err != nil {
		t.Fatal(err)
	}
	pl := budget.NewPlanner(in)
	cut, err := pl.FindCut(t.Context(), func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	chosen, err := pl.Choose(t.Context(), cut)
	if err != nil {
		t.Fatal(err)
	}
	report := NewSignoff(pl.Price(cut, chosen), "test")
	text, err := report.JSON()
	if err != nil {
		t.Fatal(err)
	}
	var s Signoff
	if err := json.Unmarshal(text, &s); err != nil {
		t.Fatal(err)
	}
	choices := 0
	for i, c := range s.Frontier.Candidates {
		if c.ID != i || (c.From == nil) != (i == 0) || c.From != nil && *c.From >= i {
			t.Errorf("candidate %d has number %d and is made of %v", i, c.ID, c.From)
		}
		if c.Features+c.Units[0]+len(c.Removed) != 24 || len(c.Losses) != 10 || len(c.Cost) != 2 {
			t.Errorf("candidate %d: %d features, units %v, removed %v, %d losses, %d costs", i,
				c.Features, c.Units, c.Removed, len(c.Losses), len(c.Cost))
		}
		most := 0.0
		for _, l := range c.Losses {
			if l.Scenario == "all" && l.Rise != nil {
				most = math.Max(most, *l.Rise/l.Tolerance)
			}
		}
		if c.ToleranceUsed == nil || most > *c.ToleranceUsed {
			t.Errorf("candidate %d uses %v of the tolerances, its losses %g", i, c.ToleranceUsed,
				most)
		}
		if !c.Chosen {
			continue
		}
		choices++
		if c.Features != len(s.Kept.Features) || c.Formats != s.Network.Formats ||
			c.Measured != "fixed" {
			t.Errorf("chosen: %+v", c)
		}
		for _, cost := range s.Cost {
			if cost.Part == budget.Total && cost.Resource == budget.Flash &&
				!slices.ContainsFunc(c.Cost, func(r CandidateCostRow) bool {
					return r.Target == cost.Target && r.Flash == cost.Value
				}) {
				t.Errorf("flash of the choice is %+v, in the table of costs %g on %s", c.Cost,
					cost.Value, cost.Target)
			}
		}
	}
	if choices != 1 {
		t.Errorf("%d candidates are chosen", choices)
	}
	units := -1
	for _, u := range s.Frontier.ByUnits {
		if u.Units <= units || u.Output == "" || u.Rise == nil {
			t.Errorf("by units: %+v behind %d units", u, units)
		}
		units = u.Units
	}
	if units != 12 {
		t.Errorf("the last row has %d units", units)
	}
	near := report.FrontierTables()
	for _, costs := range near[1:] {
		if len(costs.Rows) != len(near[0].Rows) ||
			!slices.Equal(costs.Head, []string{costs.Head[0], "flash, B", "RAM, B", "cycles"}) {
			t.Errorf("%+v", costs)
		}
	}
	if n := len(near[0].Rows); n < 4 || n > shownNear ||
		!strings.Contains(report.FrontierLegend(), s.Frontier.Objective) {
		t.Errorf("%d rows near the choice; %s", n, report.FrontierLegend())
	}
}

// A share of a tolerance shows on which side of it a candidate is.
func TestUsedPercent(t *testing.T) {
	for want, v := range map[string]float64{
		"100 %": 1, "101 %": 1.006, "100.4 %": 1.004, "100.0002 %": 1.000002, "99 %": 0.994,
		"0 %": 0, "363 %": 3.633,
	} {
		if got := UsedPercent(&v); got != want {
			t.Errorf("%g: %q, want %q", v, got, want)
		}
	}
	if got := UsedPercent(nil); got != "" {
		t.Errorf("no end: %q", got)
	}
}
