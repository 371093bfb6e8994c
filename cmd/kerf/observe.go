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

// sign is that of the state which overlaps with an event.
func sign(o prune.Overlap) string {
	if o.Positive {
		return "+"
	}
	return "-"
}
