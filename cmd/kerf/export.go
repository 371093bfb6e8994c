package main

import (
	"path/filepath"

	"github.com/spf13/cobra"
)

func (a *app) exportCommand() *cobra.Command {
	var c choice
	var out, format string
	var measured bool
	cmd := &cobra.Command{
		Use:   "export JOB.toml",
		Short: "Write the handoff for a choice made by hand",
		Long: `export does what plan does, for the features, units and word widths that you give;
what you leave out is chosen. The verdict is reached in the same way.`,
		Example: `  kerf export job.toml --features all --units all --weights int16 --out uncut`,
		Args:    oneJob,
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == standardStream {
				return folderNotStream()
			}
			in, err := a.load(args[0])
			if err != nil {
				return err
			}
			if measured {
				if err := requireTools(cmd.Context(), in); err != nil {
					return err
				}
			}
			if out == "" {
				out = filepath.Join(filepath.Dir(args[0]), "handoff")
			}
			result, err := a.assess(cmd.Context(), in, c)
			if err != nil {
				return err
			}
			return a.handOff(cmd.Context(), result, out, format, measured)
		},
	}
	c.cutFlags(cmd.Flags())
	c.formatFlags(cmd.Flags())
	cmd.Flags().StringVar(&out, "out", "", "handoff folder (default: handoff beside the job file)")
	formatFlag(cmd, &format)
	cmd.Flags().BoolVar(&measured, "measure", false, measureUsage)
	return cmd
}
