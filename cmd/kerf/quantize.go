package main

import (
	"context"
	"slices"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter/report"
)

func (a *app) quantizeCommand() *cobra.Command {
	var c choice
	cmd := a.candidateVerb(&cobra.Command{
		Use:   "quantize JOB.toml",
		Short: "Bring the network to fixed point and show formats and loss",
		Long: `quantize shows the number format and the proven accumulator bound of every tensor,
and the loss on the selection recordings of the float, the cut and the fixed-point
network. Sign-off recordings are left alone: only plan and export judge.`,
		Example: `  kerf quantize job.toml --keep-features all --keep-units all
  kerf quantize job.toml --keep-features all --keep-units all --weights int16`,
	}, &c, a.loadExamined, func(_ context.Context, pl *budget.Planner, cut *budget.Cut,
		chosen *budget.Chosen) (result, error) {
		r := pl.Price(cut, chosen)
		r.Loss = pl.SelectionLoss(chosen)
		s := report.NewSignoff(r, version)
		s.MeasuredOn = budget.SelectionSet
		return &quantizeResult{s.Formats, s.Widths, s.Forced, s.Wider, s.Rounding, s.Loss,
			s.Caution, s}, nil
	})
	c.formatFlags(cmd.Flags())
	return cmd
}

// quantizeResult is what kerf quantize shows; the loss is on selection recordings.
type quantizeResult struct {
	Formats  []report.FormatRow   `json:"formats"`
	Widths   []report.WidthRow    `json:"widths"`
	Forced   []report.ForcedRow   `json:"forced"`
	Wider    []report.WidthRow    `json:"widening"`
	Rounding []report.RoundingRow `json:"rounding"`
	Loss     []report.LossRow     `json:"loss"`
	Caution  string               `json:"caution"`

	signoff *report.Signoff
}

func (r *quantizeResult) tables() []report.Table {
	s := r.signoff
	return slices.Concat([]report.Table{keptTable(s), s.FormatTable()}, s.WordTables(),
		s.AccuracyTables())
}
