package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"kerf/exporter/report"
	"kerf/fault"
)

func (a *app) compareCommand() *cobra.Command {
	return a.verb(&cobra.Command{
		Use:   "compare OLD NEW",
		Short: "Say what changed between two handoffs, and which is better",
		Long: `compare reads the sign-offs of two handoffs and says what changed: input files,
features, units and front ends, words, every judged error and every cost, each with an
outcome. Errors are those of the integer networks on the same steps of the same sign-off
recordings, pair by pair over the sequences, whatever else differs. A row is better or
worse when the 95 % interval of the change excludes 0 and the change is a tenth of the
tolerance or more; a cost when the change exceeds what its estimated parts may be off.
All else is the same within what was measured. Where sign-off recordings or outputs
differ, errors are not comparable.

OLD and NEW are folders or files signoff.json; one may be - for a signoff.json on stdin.

Exit code: 0 better or the same, 1 something got worse or cannot be compared.`,
		Example: `  kerf compare handoff handoff
  kerf compare handoff handoff --json`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 2 || args[0] == standardStream && args[1] == standardStream {
				return fault.New(fmt.Sprintf("%s takes two handoffs, got %d arguments",
					cmd.CommandPath(), len(args)), cmd.CommandPath()+" OLD NEW; one of them "+
					"may be -")
			}
			return nil
		},
	}, func(_ context.Context, args []string) (result, error) {
		old, err := readSignoff(args[0], a.stdin)
		if err != nil {
			return nil, err
		}
		fresh, err := readSignoff(args[1], a.stdin)
		if err != nil {
			return nil, err
		}
		return &comparison{report.Compare(old, fresh)}, nil
	})
}

// comparison is what kerf compare shows.
type comparison struct {
	*report.Comparison
}

// isBroken reports whether something got worse or cannot be compared.
func (c *comparison) isBroken() bool { return !c.Passes() }

// tables returns what changed, with verdict and notes in the last table.
func (c *comparison) tables() []report.Table {
	verdict := report.Table{Title: c.Line(), Head: []string{"no.", "note"}, Numbers: 2}
	for i, w := range append(append([]string{}, c.Warnings...), report.ComparisonLegend,
		c.Caution) {
		verdict.Rows = append(verdict.Rows, []string{fmt.Sprint(i + 1), w})
	}
	return append(c.Tables(), verdict)
}

// text prints the verdict and what limits it in front of the tables.
func (c *comparison) text(w io.Writer, p page) error {
	fmt.Fprintln(w, p.wrap(c.Line(), 2))
	for _, note := range c.Warnings {
		fmt.Fprintln(w, p.wrap("Note: "+note+".", 2))
	}
	fmt.Fprintln(w)
	if err := p.printTexts(w, c.Tables()); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\n%s\n\n%s\n", p.wrap(report.ComparisonLegend, 0),
		p.wrap(c.Caution, 0))
	return err
}
