package main

import (
	"context"

	"github.com/spf13/cobra"

	"kerf/budget"
)

// findFunc does the work of a verb: it gets the arguments and returns what it found out. The result
// is nil when the verb has written what it was asked for itself, such as a network to stdout.
type findFunc = func(ctx context.Context, args []string) (result, error)

// inputsFunc does the work of a verb on the job that was read.
type inputsFunc = func(ctx context.Context, in *budget.Inputs) (result, error)

// candidateFunc does the work of a verb on the candidate that a planner has chosen.
type candidateFunc = func(ctx context.Context, pl *budget.Planner, cut *budget.Cut,
	chosen *budget.Chosen) (result, error)

// verb completes the command of a verb: it adds the options of the format, and what all verbs do
// with the result of find, which is to print it and to set the exit code. further names formats
// that only this verb has.
func (a *app) verb(cmd *cobra.Command, find findFunc, further ...string) *cobra.Command {
	var format string
	formatFlag(cmd, &format, further...)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		end := a.ui.phase("working")
		r, err := find(cmd.Context(), args)
		end()
		if stopped := cmd.Context().Err(); stopped != nil {
			return stopped // whatever the interrupted work ended with
		}
		if err != nil || r == nil {
			return err
		}
		if l, isLimited := r.(limited); isLimited && l.isBroken() {
			a.code = exitBroken
		}
		return a.print(format, r)
	}
	return cmd
}

// jobVerb is verb for a command that takes a job. read is app.load, or app.loadExamined for the
// commands that judge nothing.
func (a *app) jobVerb(cmd *cobra.Command,
	read func(ctx context.Context, job string) (*budget.Inputs, error),
	find inputsFunc) *cobra.Command {
	cmd.Args = oneJob
	return a.verb(cmd, func(ctx context.Context, args []string) (result, error) {
		in, err := read(ctx, args[0])
		if err != nil {
			return nil, err
		}
		return find(ctx, in)
	})
}

// candidateVerb is jobVerb for a command that shows a candidate. What c, which the options fill,
// leaves open is chosen as plan chooses it.
func (a *app) candidateVerb(cmd *cobra.Command, c *choice,
	read func(ctx context.Context, job string) (*budget.Inputs, error),
	find candidateFunc) *cobra.Command {
	c.cutFlags(cmd.Flags())
	return a.jobVerb(cmd, read, func(ctx context.Context, in *budget.Inputs) (result, error) {
		pl, cut, chosen, err := a.choose(ctx, in, *c)
		if err != nil {
			return nil, err
		}
		return find(ctx, pl, cut, chosen)
	})
}
