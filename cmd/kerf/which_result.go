package main

import (
	"slices"

	"kerf/budget"
	"kerf/exporter/report"
)

// whichResult is what kerf cost --all-targets shows.
type whichResult struct {
	Targets  []standingRow `json:"targets"` // the one with the most room first
	Remedies []remedyRow   `json:"remedies"`
	Caution  string        `json:"caution"`

	standings []budget.Standing
	remedies  []budget.Remedy
}

// standingRow is one profile with its tightest limit.
type standingRow struct {
	Target  string  `json:"target"`
	Profile string  `json:"profile"`
	Clock   float64 `json:"clock"` // Hz
	// the target of the job whose clock and limits these are; empty: its own
	LimitsAs string   `json:"limits_as"`
	Tightest string   `json:"tightest"` // resource
	Value    *float64 `json:"value"`
	Unit     string   `json:"unit"`
	Limit    *float64 `json:"limit"`
	Margin   *float64 `json:"margin"`
	Broken   []string `json:"broken"`  // resources
	Untimed  []string `json:"untimed"` // front ends without cycles for the profile
}

// remedyRow is one change that would meet a broken limit by itself.
type remedyRow struct {
	Target   string   `json:"target"`
	Resource string   `json:"resource"`
	Knob     string   `json:"knob"`
	Change   string   `json:"change"` // in words
	Names    []string `json:"names"`  // of the features or units that go
	Value    float64  `json:"value"`
	Within   bool     `json:"within"` // every tolerance, on selection recordings
	MayReach *float64 `json:"may_reach"`
}

func newWhichResult(standings []budget.Standing, remedies []budget.Remedy) *whichResult {
	r := &whichResult{Targets: []standingRow{}, Remedies: []remedyRow{}, Caution: report.Caution,
		standings: standings, remedies: remedies}
	for _, s := range standings {
		row := standingRow{Target: s.Target.Name, Profile: s.Target.Core.Name,
			Clock: float64(s.Target.Clock), LimitsAs: s.Like, Broken: []string{},
			Untimed: append([]string{}, s.Untimed...)}
		if c := s.Tightest; report.Finite(c.Limit) != nil {
			row.Tightest, row.Value, row.Unit, row.Limit, row.Margin = c.Resource,
				report.Finite(c.Value), c.Unit, report.Finite(c.Limit),
				report.Finite(c.Margin())
		}
		for _, c := range s.Broken {
			row.Broken = append(row.Broken, c.Resource)
		}
		r.Targets = append(r.Targets, row)
	}
	for _, m := range remedies {
		r.Remedies = append(r.Remedies, remedyRow{m.Target, m.Resource, m.Knob, m.Change,
			append([]string{}, m.Names...), m.Value, m.Within, report.Finite(m.MayReach)})
	}
	return r
}

// isBroken reports whether a target of the job itself breaks a limit.
func (r *whichResult) isBroken() bool {
	return slices.ContainsFunc(r.standings, func(s budget.Standing) bool {
		return s.Like == "" && len(s.Broken) > 0
	})
}

func (r *whichResult) tables() []report.Table {
	tables := []report.Table{rankingTable(r.standings)}
	if t := untimedTable(r.standings); len(t.Rows) > 0 {
		tables = append(tables, t)
	}
	return append(tables, remedyTables(r.standings, r.remedies)...)
}
