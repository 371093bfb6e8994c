package main

import (
	"kerf/budget"
	"kerf/exporter/report"
)

// unitsResult is what kerf units shows.
type unitsResult struct {
	Sizes    []sizeRow    `json:"sizes"`
	Findings []findingRow `json:"findings"`

	in       *budget.Inputs
	sizes    []budget.Size
	features int
}

// sizeRow is one network with its loss on selection recordings and its cost.
type sizeRow struct {
	Units      int      `json:"units"`
	File       string   `json:"file"`
	Other      bool     `json:"other"` // one of [[model.other]], as trained
	WeightBits int      `json:"weight_bits"`
	StateBits  int      `json:"state_bits"`
	MayReach   *float64 `json:"may_reach"` // of the judged row with the least room
	// every tolerance, with the reserve for the sign-off
	Within      bool          `json:"within"`
	Broken      int           `json:"broken_limits"`
	Recommended bool          `json:"recommended"`
	Loss        []sizeLossRow `json:"loss"`
	Cost        []sizeCostRow `json:"cost"`
}

type sizeLossRow struct {
	Output   string   `json:"output"`
	Scenario string   `json:"scenario"`
	Region   string   `json:"region"`
	Metric   string   `json:"metric"`
	Fixed    *float64 `json:"fixed"`
	Rise     *float64 `json:"rise"`
	RiseLow  *float64 `json:"rise_low"`
	RiseHigh *float64 `json:"rise_high"`
}

type sizeCostRow struct {
	Target   string   `json:"target"`
	Resource string   `json:"resource"`
	Value    float64  `json:"value"`
	Unit     string   `json:"unit"`
	Kind     string   `json:"kind"`
	Limit    *float64 `json:"limit"`
	Verdict  string   `json:"verdict"`
}

func newUnitsResult(in *budget.Inputs, sizes []budget.Size, features int) *unitsResult {
	r := &unitsResult{Sizes: []sizeRow{}, Findings: findingRows(sizeSentences(in, sizes, features)),
		in: in, sizes: sizes, features: features}
	for _, s := range sizes {
		l := s.Candidate.Formats.Layers[0]
		row := sizeRow{Units: s.Units, File: s.File, Other: s.Other, WeightBits: l.RecurrentBits,
			StateBits: l.StateBits, MayReach: report.Finite(s.MayReach), Within: s.Within,
			Broken: s.Broken, Recommended: s.Recommended, Loss: []sizeLossRow{},
			Cost: []sizeCostRow{}}
		for _, l := range s.Loss {
			row.Loss = append(row.Loss,
				sizeLossRow{l.Output, l.Scenario, l.Region, string(l.Metric),
					report.Finite(l.Fixed), report.Finite(l.Rise), report.Finite(l.RiseLow),
					report.Finite(l.RiseHigh)})
		}
		for _, c := range s.Costs {
			if c.Part == budget.Total {
				row.Cost = append(row.Cost, sizeCostRow{c.Target, c.Resource, c.Value, c.Unit,
					string(c.Kind), report.Finite(c.Limit), c.Verdict})
			}
		}
		r.Sizes = append(r.Sizes, row)
	}
	return r
}

func (r *unitsResult) tables() []report.Table { return sizeTables(r.in, r.sizes, r.features) }
