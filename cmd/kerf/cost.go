package main

import (
	"context"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter/report"
)

func (a *app) costCommand() *cobra.Command {
	var c choice
	var allTargets bool
	cmd := a.candidateVerb(&cobra.Command{
		Use:   "cost JOB.toml",
		Short: "Flash, RAM, stack, cycles, step time on every target, by part",
		Long: `cost shows what a network takes on every target of the job, by part, with the kind
of each figure: exact, bounded or estimated. By default it is the network that plan
would choose; --keep-features all --keep-units all shows it before the cut.

--all-targets puts it on every built-in profile as well, with the clock and the limits of
the job's first target, ranks all by how much they use of their tightest limit, and
says for every broken limit which single change would meet it: clock, place of the
weights, words, units or features.`,
		Example: `  kerf cost job.toml
  kerf cost job.toml --all-targets
  kerf cost job.toml --keep-features all --keep-units all --weights int16 --state int32`,
	}, &c, a.load, func(ctx context.Context, pl *budget.Planner, cut *budget.Cut,
		chosen *budget.Chosen) (result, error) {
		if allTargets {
			return a.rankTargets(ctx, pl, cut, chosen)
		}
		s := report.NewSignoff(pl.Price(cut, chosen), version)
		return &costResult{s.Cost, s.Freed, s.Placements, s.Forms,
			s.Caution, s}, nil
	})
	c.formatFlags(cmd.Flags())
	cmd.Flags().BoolVar(&allTargets, "all-targets", false, "rank every profile, and say what "+
		"would meet a broken limit")
	return cmd
}

// costResult is what kerf cost shows.
type costResult struct {
	Cost       []report.CostRow   `json:"cost"`
	Freed      []budget.Freed     `json:"freed"`
	Placements []budget.Placement `json:"weights_place"`
	Forms      []budget.FormCost  `json:"code_forms,omitempty"`
	Caution    string             `json:"caution"`

	signoff *report.Signoff
}

// isBroken reports whether a limit of the job is broken or cannot be judged.
func (r *costResult) isBroken() bool { return r.signoff.Verdict != budget.Fits }

func (r *costResult) tables() []report.Table {
	return append([]report.Table{keptTable(r.signoff)}, r.signoff.CostTables(true)...)
}
