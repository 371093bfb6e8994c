package main

import (
	"context"
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/prune"
)

func (a *app) observeCommand() *cobra.Command {
	return a.jobVerb(&cobra.Command{
		Use:   "observe JOB.toml",
		Short: "Show what every hidden unit does, and which to drop or add",
		Long: `observe runs the network over the selection recordings and shows, for every hidden
unit, its range, how often it is positive and at an end of its range, how many steps
it remembers by itself, how it correlates with every output, and how well its sign
tells the lowest and highest quarter of every output and every region of the job. Advice in
words comes first, each with its evidence.`,
		Example: `  kerf observe job.toml
  kerf observe job.toml --format json`,
	}, a.loadExamined, func(ctx context.Context, in *budget.Inputs) (result, error) {
		defer a.ui.phase("watching the units")()
		return newObserveResult(in, prune.Observe(in.Float, in.Selection, in.Regions)), nil
	})
}

// observeTables shows the advice, and for each layer the units and their overlaps with events.
func observeTables(in *budget.Inputs, o *prune.Observed) []report.Table {
	tables := []report.Table{sentenceTable("What the hidden units speak for", o.Advice())}
	for i, l := range o.Layers {
		of := ""
		if len(o.Layers) > 1 {
			of = fmt.Sprintf(" of layer %d", i)
		}
		tables = append(tables,
			unitTable(fmt.Sprintf("Units%s, %v, on the selection recordings", of, l.Kind), in, l),
			overlapTable("Overlap of the sign of units"+of+" with events (always on: of a unit "+
				"that is)", o, l))
	}
	return tables
}

// unitTable shows the units of one layer.
func unitTable(title string, in *budget.Inputs, l prune.LayerView) report.Table {
	t := report.Table{Title: title, Head: []string{"unit", "min", "max", "std", "positive",
		"at an end", "remembers"}, Numbers: 1}
	for _, output := range in.Float.Outputs {
		t.Head = append(t.Head, "r "+output.Name)
	}
	for _, u := range l.Units {
		atEnd := ""
		if !math.IsNaN(u.Saturated) {
			atEnd = fmt.Sprintf("%.0f %%", 100*u.Saturated)
		}
		remembers := "for ever"
		if !math.IsInf(u.TimeConstant, 1) {
			remembers = fmt.Sprintf("%.1f steps", u.TimeConstant)
		}
		row := []string{u.Name, fmt.Sprintf("%.2f", u.Min), fmt.Sprintf("%.2f", u.Max),
			fmt.Sprintf("%.3f", u.Std), fmt.Sprintf("%.0f %%", 100*u.Positive), atEnd, remembers}
		for _, c := range u.Correlation {
			row = append(row, correlation(c))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// overlapTable shows how well the sign of each unit tells the events, beside a unit that is always
// on.
func overlapTable(title string, o *prune.Observed, l prune.LayerView) report.Table {
	t := report.Table{Title: title, Head: []string{"unit"}, Numbers: 1}
	always := []string{"always on"}
	for _, e := range o.Events {
		t.Head = append(t.Head, e.Name)
		always = append(always, fmt.Sprintf("%.2f", e.Share))
	}
	t.Rows = append(t.Rows, always)
	for _, u := range l.Units {
		row := []string{u.Name}
		for _, overlap := range u.Overlaps {
			row = append(row, fmt.Sprintf("%s %.2f", sign(overlap), overlap.IoU))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// sign returns the sign of the state that overlaps with an event.
func sign(o prune.Overlap) string {
	if o.Positive {
		return "+"
	}
	return "-"
}

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

// layerRow is one recurrent layer with its units.
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
