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
	"kerf/fault"
	"kerf/recovery"
)

func (a *app) planCommand() *cobra.Command {
	c := &choice{}
	cmd := a.handoffVerb(&cobra.Command{
		Use:   "plan JOB.toml",
		Short: "Do the whole job: cut, fixed point, verdicts, handoff, sign-off",
		Long: `plan reads a job file and everything it names, cuts features and units as far as
the tolerances allow, chooses word widths, measures the result on the sign-off
recordings, checks every limit, writes the handoff folder and prints the sign-off
table.

With --measure the C is compiled and run for every target as kerf measure does, the
measured figures take the place of the estimates, which stay beside them, and limits are
judged with them. Every compiler and emulator has to be there. Where a target of the job
names flags, these are compiled with, and without --measure a limit for which there is no
estimate cannot be judged.

With [recovery] in the job networks are trained, which takes long. Ctrl-C writes no handoff;
with --checkpoint every training is kept, and a later run goes on behind the last epoch, to the
same handoff.

Exit code: 0 within every limit and tolerance, 1 one is broken or cannot be
judged (the handoff is written all the same and says so), 2 bad input.`,
		Example: `  kerf plan job.toml
  kerf plan job.toml --out handoff
  kerf plan job.toml --measure
  kerf plan job.toml --units-count 12
  kerf plan job.toml --json`,
	}, c)
	c.countFlag(cmd.Flags())
	return cmd
}

// handoffVerb is verb for a command that writes the handoff of a job.
func (a *app) handoffVerb(cmd *cobra.Command, c *choice) *cobra.Command {
	o := handoffOptions{}
	cmd.Args = oneJob
	cmd.Flags().StringVar(&o.out, "out", "",
		"handoff folder (default: handoff beside the job file)")
	cmd.Flags().BoolVar(&o.measured, "measure", false, "compile the C and run it on emulated "+
		"cores: measured figures instead of estimates")
	checkpointFlag(cmd.Flags(), &o.checkpoint)
	allFlag(cmd, &o.all)
	return a.verb(cmd, func(ctx context.Context, args []string) (result, error) {
		o := o
		if o.out == "" {
			o.out = filepath.Join(filepath.Dir(args[0]), "handoff")
		}
		if o.out == standardStream {
			return nil, folderNotStream()
		}
		return a.plan(ctx, args[0], *c, o)
	})
}

// handoffOptions say how a handoff is made and shown.
type handoffOptions struct {
	out        string // folder
	checkpoint string // file that keeps trainings; empty: none does
	measured   bool   // the C is measured
	all        bool   // everything is printed, and not the first screen alone
}

// allFlag adds the option to print everything and not the first screen alone.
func allFlag(cmd *cobra.Command, all *bool) {
	cmd.Flags().BoolVar(all, "all", false, "print every table, the notes and the lines to sign")
}

// plan runs a job, and writes the handoff: what c leaves open is chosen.
func (a *app) plan(ctx context.Context, job string, c choice, o handoffOptions) (result, error) {
	in, err := a.load(ctx, job)
	if err != nil {
		return nil, err
	}
	if o.measured {
		if err := requireTools(ctx, in, nil); err != nil {
			return nil, err
		}
	}
	checkpoint, err := a.openCheckpoint(in, o.checkpoint)
	if err != nil {
		return nil, err
	}
	r, files, err := a.makeHandoff(ctx, in, c, checkpoint, o.measured)
	if err != nil {
		return nil, err
	}
	if err := exporter.WriteFolder(o.out, files); err != nil {
		return nil, err
	}
	return &signoffResult{report.NewSignoff(r, version), o.out, o.all,
		func(format string) ([]byte, error) { return files[signoffFiles[format]], nil }}, nil
}

// makeHandoff chooses what c leaves open, trains where the job asks for it, judges, measures the C
// where measured asks for it, and makes the files of the handoff in memory.
func (a *app) makeHandoff(ctx context.Context, in *budget.Inputs, c choice,
	checkpoint *recovery.Checkpoint, measured bool) (*budget.Result, map[string][]byte, error) {
	pl, cut, chosen, err := a.choose(ctx, in, c)
	if err != nil {
		return nil, nil, err
	}
	if chosen, err = a.recoverChoice(ctx, pl, cut, chosen, checkpoint); err != nil {
		return nil, nil, err
	}
	r, err := a.judge(ctx, pl, cut, chosen)
	if err != nil {
		return nil, nil, err
	}
	r.ByHand = c.byHand()
	if measured {
		if err := a.measureResult(ctx, r); err != nil {
			return nil, nil, err
		}
	}
	files, err := exporter.Files(r, version)
	if err != nil {
		return nil, nil, err
	}
	return r, files, ctx.Err()
}

// recoverChoice looks for a smaller network by training where the job asks for it, and returns what
// is chosen then.
func (a *app) recoverChoice(ctx context.Context, pl *budget.Planner, cut *budget.Cut,
	chosen *budget.Chosen, checkpoint *recovery.Checkpoint) (*budget.Chosen, error) {
	if pl.Inputs().Job.Recovery == nil {
		return chosen, nil
	}
	tell, end := a.ui.trainings()
	defer end()
	return pl.Recover(ctx, cut, chosen, checkpoint, tell)
}

// judge measures the candidate on the sign-off recordings and gives every verdict.
func (a *app) judge(ctx context.Context, pl *budget.Planner, cut *budget.Cut,
	chosen *budget.Chosen) (*budget.Result, error) {
	defer a.ui.phase("measuring on the sign-off recordings")()
	return pl.Assess(ctx, cut, chosen)
}

// signoffFiles are the files of the handoff that the formats other than text print.
var signoffFiles = map[string]string{markdownFormat: exporter.MarkdownFile,
	csvFormat: exporter.CSVFile, jsonFormat: exporter.SignoffFile}

// folderNotStream returns the error for a handoff that shall go to stdout.
func folderNotStream() error {
	return fault.New("--out: a handoff is a folder and cannot go to stdout",
		"--json prints its sign-off")
}

// loadExamined is load for the commands that judge nothing. It notes on stderr what speaks against
// the network as given, since all that these commands show is about that network.
func (a *app) loadExamined(ctx context.Context, job string) (*budget.Inputs, error) {
	in, err := a.load(ctx, job)
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

// load is loadUncompared, and refuses a job whose features are not what samples give.
func (a *app) load(ctx context.Context, job string) (*budget.Inputs, error) {
	in, err := a.loadUncompared(ctx, job)
	if err != nil {
		return nil, err
	}
	return in, in.CheckComputed()
}

// loadUncompared reads a job and its files, from stdin if job is -, and refuses names that C does
// not allow, before any work.
func (a *app) loadUncompared(ctx context.Context, job string) (*budget.Inputs, error) {
	defer a.ui.phase("reading the job and its files")()
	read := func() (*budget.Inputs, error) { return budget.Load(job) }
	if job == standardStream {
		read = func() (*budget.Inputs, error) { return budget.LoadFrom(a.stdin, "stdin") }
	}
	in, err := read()
	if err != nil {
		return nil, err
	}
	limitMemory(in)
	var bad *fault.Error
	if errors.As(emit.CheckPrefix(in.Job.Name), &bad) {
		return nil, in.Job.AtName(bad.Hint, bad.Msg)
	}
	return in, emit.CheckNames(in.Job.Name, in.Float.Features, in.Float.Outputs,
		in.Raw.ChannelNames())
}
