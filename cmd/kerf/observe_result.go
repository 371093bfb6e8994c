package main

import (
	"kerf/budget"
	"kerf/exporter/report"
	"kerf/prune"
)

// observeResult is what kerf observe shows.
type observeResult struct {
	Findings []findingRow `json:"findings"`
	Events   []eventRow   `json:"events"`
	Layers   []layerRow   `json:"layers"`

	in       *budget.Inputs
	observed *prune.Observed
}

// eventRow is a set of steps that a unit may respond to.
type eventRow struct {
	Event string  `json:"event"` // in words
	Of    string  `json:"of"`    // the output, class or region
	Share float64 `json:"share"` // of all steps
}

// layerRow is one recurrent layer.
type layerRow struct {
	Layer int       `json:"layer"`
	Kind  string    `json:"kind"`
	Units []unitRow `json:"units"`
}

// unitRow is one hidden unit. Overlaps are intersection over union with every event, of the sign
// that fits better.
type unitRow struct {
	Unit     string  `json:"unit"`
	Min      float64 `json:"min"`
	Max      float64 `json:"max"`
	Mean     float64 `json:"mean"`
	Std      float64 `json:"std"`
	Positive float64 `json:"positive"` // share of steps
	// share of steps; null where the range has no end
	AtAnEnd      *float64   `json:"at_an_end"`
	Remembers    *float64   `json:"remembers_steps"` // null: for ever
	Correlations []*float64 `json:"correlations"`    // with every output, in their order
	Overlaps     []float64  `json:"overlaps"`        // with every event, in their order
	Signs        []string   `json:"signs"`           // of the state that overlaps: + or -
}

func newObserveResult(in *budget.Inputs, o *prune.Observed) *observeResult {
	r := &observeResult{Findings: findingRows(o.Advice()), Events: []eventRow{},
		Layers: []layerRow{}, in: in, observed: o}
	for _, e := range o.Events {
		r.Events = append(r.Events, eventRow{e.Name, e.Of, e.Share})
	}
	for i, l := range o.Layers {
		layer := layerRow{Layer: i, Kind: l.Kind.String(), Units: []unitRow{}}
		for _, u := range l.Units {
			row := unitRow{Unit: u.Name, Min: u.Min, Max: u.Max, Mean: u.Mean, Std: u.Std,
				Positive: u.Positive, AtAnEnd: report.Finite(u.Saturated),
				Remembers: report.Finite(u.TimeConstant), Correlations: []*float64{},
				Overlaps: []float64{}, Signs: []string{}}
			for _, c := range u.Correlation {
				row.Correlations = append(row.Correlations, report.Finite(c))
			}
			for _, v := range u.Overlaps {
				row.Overlaps, row.Signs = append(row.Overlaps, v.IoU), append(row.Signs, sign(v))
			}
			layer.Units = append(layer.Units, row)
		}
		r.Layers = append(r.Layers, layer)
	}
	return r
}

func (r *observeResult) tables() []report.Table { return observeTables(r.in, r.observed) }
