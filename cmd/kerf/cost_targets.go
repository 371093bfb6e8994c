package main

import (
	"context"
	"math"
	"slices"

	"kerf/budget"
	"kerf/budget/cost"
	"kerf/dataset"
	"kerf/exporter/report"
	"kerf/targets"
)

// rankTargets ranks every profile for a choice and finds what would make it fit where it does not.
func (a *app) rankTargets(ctx context.Context, pl *budget.Planner, cut *budget.Cut,
	chosen *budget.Chosen) (result, error) {
	standings, err := pl.Inputs().RankTargets(chosen.Candidate)
	if err != nil {
		return nil, err
	}
	step, end := a.ui.progress("looking for what would meet a broken limit")
	defer end()
	remedies, err := pl.Remedies(ctx, cut, chosen, standings, step)
	if err != nil {
		return nil, err
	}
	return newWhichResult(standings, remedies), nil
}

// rankingTable makes a row for each profile, the one that uses least of its tightest limit first.
func rankingTable(standings []budget.Standing) report.Table {
	t := report.Table{Title: "Which target? The tightest limit decides",
		Head: []string{"target", "clock", "tightest", "value", "limit", "used", "verdict",
			"limits"}, Numbers: 3, Words: 2}
	for _, s := range standings {
		row := []string{s.Target.Name, targets.FormatHertz(float64(s.Target.Clock)), "", "", "", "",
			"fits", "own"}
		if c := s.Tightest; !math.IsNaN(c.Limit) {
			row[2] = report.Spaced(c.Resource)
			row[3], row[4] = report.Quantity(c.Value, c.Unit), report.Quantity(c.Limit, c.Unit)
			row[5] = report.UsedPercent(report.Finite(c.Used()))
		}
		switch {
		case len(s.Broken) > 0:
			row[6] = "does not fit"
		case len(s.Unjudged) > 0:
			row[6] = string(budget.NotEstimated)
		case len(s.Untimed) > 0:
			row[6] = "time not known"
		}
		if s.Form() == cost.Small {
			row[6] += ", small"
		}
		if s.Like != "" {
			row[7] = "as " + s.Like
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// untimedTable lists the front ends for which the job gives no cycles, and the targets.
func untimedTable(standings []budget.Standing) report.Table {
	t := report.Table{Title: "Not in the figures: time of front ends for which the job gives " +
		"no cycles", Head: []string{"front end", "on"}, Numbers: 2}
	var frontEnds []string
	targetsOf := map[string][]string{}
	for _, s := range standings {
		for _, name := range s.Untimed {
			if targetsOf[name] == nil {
				frontEnds = append(frontEnds, name)
			}
			targetsOf[name] = append(targetsOf[name], s.Target.Name)
		}
	}
	for _, name := range frontEnds {
		t.Rows = append(t.Rows, []string{name, dataset.ListNames(targetsOf[name])})
	}
	return t
}

// remedyTables makes a table for each broken limit, with a row for each change that would meet it.
func remedyTables(standings []budget.Standing, remedies []budget.Remedy) []report.Table {
	var tables []report.Table
	for _, s := range standings {
		for _, c := range s.Broken {
			resource := report.Spaced(c.Resource)
			t := report.Table{Title: "What would meet a broken limit, each change by itself",
				Head: []string{s.Target.Name + ": " + resource, "tolerances", "change"}, Words: 2}
			for _, m := range remedies {
				if m.Target == s.Target.Name && m.Resource == c.Resource {
					t.Rows = append(t.Rows,
						[]string{report.Quantity(m.Value, c.Unit), m.Tolerance(), m.Change})
				}
			}
			if len(t.Rows) == 0 {
				t.Rows = append(t.Rows, []string{"-", "-", "no single change does"})
			}
			tables = append(tables, t)
		}
	}
	return tables
}

// whichResult is what kerf cost --all-targets shows.
type whichResult struct {
	Targets  []standingRow `json:"targets"` // that which uses least of a limit first
	Remedies []remedyRow   `json:"remedies"`
	Caution  string        `json:"caution"`

	standings []budget.Standing
	remedies  []budget.Remedy
}

// standingRow is one profile with its tightest limit.
type standingRow struct {
	Target  string    `json:"target"`
	Profile string    `json:"profile"`
	Clock   float64   `json:"clock"` // Hz
	Form    cost.Form `json:"form"`  // of the code that the figures are of
	// the target of the job that lends clock and limits; empty for a target of the job
	LimitsAs string            `json:"limits_as"`
	Tightest budget.Resource   `json:"tightest"`
	Value    *float64          `json:"value"`
	Unit     string            `json:"unit"`
	Limit    *float64          `json:"limit"`
	Margin   *float64          `json:"margin"`
	Broken   []budget.Resource `json:"broken"`
	Untimed  []string          `json:"untimed"` // front ends without cycles for the profile
	// resources whose limit cannot be judged; left out where there are none
	Unjudged []budget.Resource `json:"unjudged,omitempty"`
}

// remedyRow is one change that would meet a broken limit by itself.
type remedyRow struct {
	Target   string          `json:"target"`
	Resource budget.Resource `json:"resource"`
	Knob     string          `json:"knob"`
	Change   string          `json:"change"` // in words
	Names    []string        `json:"names"`  // of the features or units that go
	Value    float64         `json:"value"`
	Within   bool            `json:"within"` // every tolerance, on selection recordings
	MayReach *float64        `json:"may_reach"`
}

func newWhichResult(standings []budget.Standing, remedies []budget.Remedy) *whichResult {
	r := &whichResult{Targets: []standingRow{}, Remedies: []remedyRow{}, Caution: report.Caution,
		standings: standings, remedies: remedies}
	for _, s := range standings {
		row := standingRow{Target: s.Target.Name, Profile: s.Target.Core.Name,
			Clock: float64(s.Target.Clock), Form: s.Form(), LimitsAs: s.Like,
			Broken: []budget.Resource{}, Untimed: append([]string{}, s.Untimed...)}
		if c := s.Tightest; report.Finite(c.Limit) != nil {
			row.Tightest, row.Value, row.Unit, row.Limit, row.Margin = c.Resource,
				report.Finite(c.Value), c.Unit, report.Finite(c.Limit),
				report.Finite(c.Margin())
		}
		for _, c := range s.Broken {
			row.Broken = append(row.Broken, c.Resource)
		}
		for _, c := range s.Unjudged {
			row.Unjudged = append(row.Unjudged, c.Resource)
		}
		r.Targets = append(r.Targets, row)
	}
	for _, m := range remedies {
		r.Remedies = append(r.Remedies, remedyRow{m.Target, m.Resource, m.Knob, m.Change,
			append([]string{}, m.Names...), m.Value, m.Within, report.Finite(m.Tightest.MayReach)})
	}
	return r
}

// isBroken reports whether a target of the job itself breaks a limit, or has one that cannot be
// judged.
func (r *whichResult) isBroken() bool {
	return slices.ContainsFunc(r.standings, func(s budget.Standing) bool {
		return s.Like == "" && len(s.Broken)+len(s.Unjudged) > 0
	})
}

func (r *whichResult) tables() []report.Table {
	tables := []report.Table{rankingTable(r.standings)}
	if t := untimedTable(r.standings); len(t.Rows) > 0 {
		tables = append(tables, t)
	}
	return append(tables, remedyTables(r.standings, r.remedies)...)
}
