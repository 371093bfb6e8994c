package main

import "github.com/spf13/cobra"

func (a *app) exportCommand() *cobra.Command {
	var c choice
	cmd := a.handoffVerb(&cobra.Command{
		Use:   "export JOB.toml",
		Short: "Write the handoff for a choice made by hand",
		Long: `export does what plan does, for the features, units and word widths that you give;
what you leave out is chosen. The verdict is reached in the same way.`,
		Example: `  kerf export job.toml --keep-features all --keep-units all --weights int16 ` +
			`--out uncut`,
	}, &c)
	c.cutFlags(cmd.Flags())
	c.formatFlags(cmd.Flags())
	return cmd
}
