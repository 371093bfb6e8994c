package main

import (
	"context"
	"errors"
	"path/filepath"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter"
	"kerf/exporter/emit"
	"kerf/exporter/report"
)

func (a *app) planCommand() *cobra.Command {
	var out, format string
	var measured bool
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
			if out == standardStream {
				return folderNotStream()
			}
			return a.plan(cmd.Context(), args[0], out, format, measured)
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "handoff folder (default: handoff beside the job file)")
	formatFlag(cmd, &format)
	cmd.Flags().BoolVar(&measured, "measure", false, measureUsage)
	return cmd
}

const measureUsage = "compile the C and run it on emulated cores: measured figures instead of " +
	"estimates"

// plan runs a job and leaves the exit code in a.code.
func (a *app) plan(ctx context.Context, job, out, format string, measured bool) error {
	in, err := a.load(job)
	if err != nil {
		return err
	}
	if measured {
		if err := requireTools(ctx, in); err != nil {
			return err
		}
	}
	result, err := a.assess(ctx, in, choice{})
	if err != nil {
		return err
	}
	return a.handOff(ctx, result, out, format, measured)
}

// chooseWords adds word widths to a cut.
func (a *app) chooseWords(ctx context.Context, pl *budget.Planner,
	cut *budget.Cut) (*budget.Chosen, error) {
	defer a.ui.phase("choosing word widths")()
	return pl.Choose(ctx, cut)
}

// judge gives the verdicts.
func (a *app) judge(ctx context.Context, pl *budget.Planner, cut *budget.Cut,
	chosen *budget.Chosen) (*budget.Result, error) {
	defer a.ui.phase("measuring on the sign-off recordings")()
	return pl.Assess(ctx, cut, chosen)
}

// handOff measures the C where that is asked for, writes the folder, prints the report and sets the
// exit code.
func (a *app) handOff(ctx context.Context, r *budget.Result, out, format string,
	measured bool) error {
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
	if name, isFile := signoffFiles[format]; isFile {
		_, err = a.stdout.Write(files[name])
		return err
	}
	return a.printSignoff(report.NewSignoff(r, version), out)
}

// signoffFiles are the files of the handoff that other formats than text print.
var signoffFiles = map[string]string{markdownFormat: exporter.MarkdownFile,
	csvFormat: exporter.CSVFile, jsonFormat: exporter.SignoffFile}

// folderNotStream says that a handoff is no file.
func folderNotStream() error {
	return &usageError{"--out: a handoff is a folder and cannot go to stdout",
		"--json prints its sign-off"}
}

// loadExamined is load for the commands that judge nothing: what speaks against the network as
// given is noted, since all that they show is about that network.
func (a *app) loadExamined(ctx context.Context, job string) (*budget.Inputs, error) {
	in, err := a.load(job)
	if err != nil {
		return nil, err
	}
	defer a.ui.phase("examining the network as given")()
	e, err := budget.NewPlanner(in).Examine(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range e.Causes {
		a.ui.note(c.String())
	}
	return in, nil
}

// load reads a job, from stdin if it is -, and refuses names that C could not carry, before any
// work.
func (a *app) load(job string) (*budget.Inputs, error) {
	defer a.ui.phase("reading the job and its files")()
	read := func() (*budget.Inputs, error) { return budget.Load(job) }
	if job == standardStream {
		read = func() (*budget.Inputs, error) { return budget.LoadFrom(a.stdin, "stdin") }
	}
	in, err := read()
	if err != nil {
		return nil, err
	}
	var bad *emit.NameError
	if errors.As(emit.CheckPrefix(in.Job.Name), &bad) {
		return nil, in.Job.AtName(bad.Hint, bad.Msg)
	}
	return in, emit.CheckNames(in.Job.Name, in.Float.Features, in.Float.Outputs)
}
