package main

import (
	"path/filepath"

	"github.com/spf13/cobra"
)

func (a *app) exportCommand() *cobra.Command {
	var c choice
	var out string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "export JOB.toml",
		Short: "Write the handoff for a choice made by hand",
		Long: `export does what plan does, for the features, units and word widths that you give;
what you leave out is chosen. The verdict is reached in the same way.`,
		Example: `  kerf export job.toml --features all --units all --weights int16 --out uncut`,
		Args:    oneJob,
		RunE: func(_ *cobra.Command, args []string) error {
			in, err := load(args[0])
			if err != nil {
				return err
			}
			if out == "" {
				out = filepath.Join(filepath.Dir(args[0]), "handoff")
			}
			result, err := a.assess(in, c)
			if err != nil {
				return err
			}
			return a.handOff(result, out, asJSON)
		},
	}
	c.cutFlags(cmd.Flags())
	c.formatFlags(cmd.Flags())
	cmd.Flags().StringVar(&out, "out", "", "handoff folder (default: handoff beside the job file)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print signoff.json instead of the table")
	return cmd
}
