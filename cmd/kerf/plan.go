package main

import (
	"path/filepath"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter"
)

func (a *app) planCommand() *cobra.Command {
	var out string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "plan JOB.toml",
		Short: "Do the whole job: cut, fixed point, verdicts, handoff folder, sign-off table",
		Long: `plan reads a job file and everything it names, cuts features and units as far as
the tolerances allow, chooses word widths, measures the result on the sign-off
recordings, checks every limit, writes the handoff folder and prints the sign-off
table.

Exit code: 0 within every limit and tolerance, 1 one is broken or cannot be
judged (the handoff is written all the same and says so), 2 bad input.`,
		Example: `  kerf plan job.toml
  kerf plan job.toml --out handoff
  kerf plan job.toml --json`,
		Args: oneJob,
		RunE: func(_ *cobra.Command, args []string) error {
			if out == "" {
				out = filepath.Join(filepath.Dir(args[0]), "handoff")
			}
			return a.plan(args[0], out, asJSON)
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "handoff folder (default: handoff beside the job file)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print signoff.json instead of the table")
	return cmd
}

// plan runs a job and leaves the exit code in a.code.
func (a *app) plan(job, out string, asJSON bool) error {
	in, err := load(job)
	if err != nil {
		return err
	}
	result, err := a.assess(in, choice{})
	if err != nil {
		return err
	}
	return a.handOff(result, out, asJSON)
}

// handOff writes the folder, prints the report and sets the exit code.
func (a *app) handOff(r *budget.Result, out string, asJSON bool) error {
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
