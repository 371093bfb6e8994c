package main

import (
	"context"
	"path/filepath"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter"
)

func (a *app) planCommand() *cobra.Command {
	var out string
	var asJSON, measured bool
	cmd := &cobra.Command{
		Use:   "plan JOB.toml",
		Short: "Do the whole job: cut, fixed point, verdicts, handoff folder, sign-off table",
		Long: `plan reads a job file and everything it names, cuts features and units as far as
the tolerances allow, chooses word widths, measures the result on the sign-off
recordings, checks every limit, writes the handoff folder and prints the sign-off
table.

With --measure the C is compiled and run for every target as kerf measure does, the
measured figures take the place of the estimates, which stay beside them, and limits are
judged with them. Every compiler and emulator has to be there.

Exit code: 0 within every limit and tolerance, 1 one is broken or cannot be
judged (the handoff is written all the same and says so), 2 bad input.`,
		Example: `  kerf plan job.toml
  kerf plan job.toml --out handoff
  kerf plan job.toml --measure
  kerf plan job.toml --json`,
		Args: oneJob,
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				out = filepath.Join(filepath.Dir(args[0]), "handoff")
			}
			return a.plan(cmd.Context(), args[0], out, asJSON, measured)
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "handoff folder (default: handoff beside the job file)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print signoff.json instead of the table")
	cmd.Flags().BoolVar(&measured, "measure", false, measureUsage)
	return cmd
}

const measureUsage = "compile the C and run it on emulated cores: measured figures instead of estimates"

// plan runs a job and leaves the exit code in a.code.
func (a *app) plan(ctx context.Context, job, out string, asJSON, measured bool) error {
	in, err := load(job)
	if err != nil {
		return err
	}
	if measured {
		if err := requireTools(ctx, in); err != nil {
			return err
		}
	}
	in.ScoreFeatures(a.ui.progress("scoring features,"))
	cut := in.FindCut(a.ui.progress("trying cuts,"))
	chosen, err := in.Choose(cut)
	if err != nil {
		return err
	}
	if chosen, err = a.recovered(in, cut, chosen); err != nil {
		return err
	}
	result, err := in.Assess(cut, chosen)
	if err != nil {
		return err
	}
	return a.handOff(ctx, result, out, asJSON, measured)
}

// handOff measures the C where that is asked for, writes the folder, prints the report and sets the exit code.
func (a *app) handOff(ctx context.Context, r *budget.Result, out string, asJSON, measured bool) error {
	if measured {
		if err := a.measureResult(ctx, r); err != nil {
			return err
		}
	}
	files, err := exporter.Files(r, version)
	if err != nil {
		return err
	}
	if err := exporter.WriteFolder(out, files); err != nil {
		return err
	}
	a.ui.endProgress()
	if r.Verdict != budget.Fits {
		a.code = exitBroken
	}
	if asJSON {
		_, err = a.stdout.Write(files["signoff.json"])
		return err
	}
	return a.printSignoff(exporter.NewSignoff(r, version), out)
}

// load reads a job and refuses names that C could not carry, before any work.
func load(job string) (*budget.Inputs, error) {
	in, err := budget.Load(job)
	if err != nil {
		return nil, err
	}
	return in, exporter.CheckNames(in.Job.Name, in.Float.Features, in.Float.Outputs)
}
