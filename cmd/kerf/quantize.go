package main

import (
	"github.com/spf13/cobra"

	"kerf/exporter"
)

func (a *app) quantizeCommand() *cobra.Command {
	var c choice
	var format string
	cmd := &cobra.Command{
		Use:   "quantize JOB.toml",
		Short: "Bring the network to fixed point and show formats and loss",
		Long: `quantize shows the number format and the proven accumulator bound of every tensor,
and the loss on the selection recordings of the float, the cut and the fixed-point
network. Sign-off recordings are left alone: only plan and export judge.`,
		Example: `  kerf quantize job.toml --features all --units all
  kerf quantize job.toml --features all --units all --weights int16`,
		Args: oneJob,
		RunE: func(_ *cobra.Command, args []string) error {
			in, err := a.loadExamined(args[0])
			if err != nil {
				return err
			}
			cut, chosen, err := a.choose(in, c)
			if err != nil {
				return err
			}
			r := in.Price(cut, chosen)
			r.Loss = in.SelectionLoss(chosen)
			s := exporter.NewSignoff(r, version)
			s.MeasuredOn = "selection"
			return a.print(format, &quantizeResult{s.Formats, s.Widths, s.Forced, s.Wider,
				s.Rounding, s.Loss, s.Caution, s})
		},
	}
	c.cutFlags(cmd.Flags())
	c.formatFlags(cmd.Flags())
	formatFlag(cmd, &format)
	return cmd
}

// quantizeResult is what kerf quantize shows; the loss is on selection recordings.
type quantizeResult struct {
	Formats  []exporter.FormatRow   `json:"formats"`
	Widths   []exporter.WidthRow    `json:"widths"`
	Forced   []exporter.ForcedRow   `json:"forced"`
	Wider    []exporter.WidthRow    `json:"widening"`
	Rounding []exporter.RoundingRow `json:"rounding"`
	Loss     []exporter.LossRow     `json:"loss"`
	Caution  string                 `json:"caution"`

	signoff *exporter.Signoff
}

func (r *quantizeResult) tables() []exporter.Table {
	s := r.signoff
	return append(append([]exporter.Table{s.FormatTable()}, s.WordTables()...),
		s.AccuracyTables()...)
}
