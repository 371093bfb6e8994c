package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"kerf/exporter"
	"kerf/prune"
)

func (a *app) rankCommand() *cobra.Command {
	var format string
	cmd := &cobra.Command{
		Use:   "rank JOB.toml",
		Short: "Rank features and hidden units by their worst case over scenarios",
		Long: `rank prints how much each feature and hidden unit contributes: its largest share
in the scores of any one scenario and output, and where that is. Feature scores are
those of the job; without them, and for units, a score is the mean absolute change
of an output when the item is held at its mean.`,
		Example: `  kerf rank job.toml
  kerf rank job.toml --format csv`,
		Args: oneJob,
		RunE: func(_ *cobra.Command, args []string) error {
			in, err := load(args[0])
			if err != nil {
				return err
			}
			cut := in.Rank()
			return a.printTables(format, rankTable("Features, the most needed first", cut.FeatureRank), rankTable("Hidden units, the most needed first", cut.UnitRank))
		},
	}
	formatFlag(cmd, &format)
	return cmd
}

func rankTable(title string, ranking []prune.Ranked) exporter.Table {
	t := exporter.Table{Title: title, Head: []string{"name", "most needed in", "for", "share"}, Numbers: 3}
	for i := len(ranking) - 1; i >= 0; i-- {
		r := ranking[i]
		t.Rows = append(t.Rows, []string{r.Name, r.Scenario, r.Output, fmt.Sprintf("%.2f %%", 100*r.Share)})
	}
	return t
}
