package main

import (
	"context"
	"math"
	"strconv"
	"strings"

	"kerf/budget"
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
	defer a.ui.phase("looking for what would meet a broken limit")()
	remedies, err := pl.Remedies(ctx, cut, chosen, standings)
	if err != nil {
		return nil, err
	}
	return newWhichResult(standings, remedies), nil
}

// rankingTable has a row per profile, the one with the most room first.
func rankingTable(standings []budget.Standing) report.Table {
	t := report.Table{Title: "Which target? The tightest limit decides",
		Head: []string{"target", "clock", "tightest", "value", "limit", "margin", "verdict",
			"limits"}, Numbers: 3, Words: 2}
	for _, s := range standings {
		row := []string{s.Target.Name, targets.FormatHertz(float64(s.Target.Clock)), "", "", "", "",
			"fits", "own"}
		if c := s.Tightest; !math.IsNaN(c.Limit) {
			row[2] = strings.ReplaceAll(c.Resource, "_", " ")
			row[3], row[4] = report.Quantity(c.Value, c.Unit), report.Quantity(c.Limit, c.Unit)
			row[5] = strconv.FormatFloat(100*c.Margin(), 'f', 0, 64) + " %"
		}
		switch {
		case len(s.Broken) > 0:
			row[6] = "does not fit"
		case len(s.Untimed) > 0:
			row[6] = "time not known"
		}
		if s.Like != "" {
			row[7] = "as " + s.Like
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// untimedTable says whose time is missing where, by front end.
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

// remedyTables has a table per broken limit, with a row per change that would meet it.
func remedyTables(standings []budget.Standing, remedies []budget.Remedy) []report.Table {
	var tables []report.Table
	for _, s := range standings {
		for _, c := range s.Broken {
			resource := strings.ReplaceAll(c.Resource, "_", " ")
			t := report.Table{Title: "What would meet a broken limit, each change by itself",
				Head: []string{s.Target.Name + ": " + resource, "tolerances", "change"}, Words: 2}
			for _, m := range remedies {
				if m.Target == s.Target.Name && m.Resource == c.Resource {
					t.Rows = append(t.Rows,
						[]string{report.Quantity(m.Value, c.Unit), m.Tolerance(), m.Change})
				}
			}
			if len(t.Rows) == 0 {
				t.Rows = append(t.Rows, []string{"", "", "no single change does"})
			}
			tables = append(tables, t)
		}
	}
	return tables
}
