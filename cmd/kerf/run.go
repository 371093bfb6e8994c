package main

import (
	"fmt"
	"io"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version of kerf; it stands in every handoff.
const version = "0.1.0"

// Exit codes.
const (
	exitDone   = 0 // done, within every limit and tolerance
	exitBroken = 1 // done, and a limit or tolerance is broken or cannot be judged
	exitInput  = 2 // usage or input error
	exitOurBug = 3 // a bug of kerf
)

// app is one invocation.
type app struct {
	stdin  io.Reader
	stdout io.Writer
	page   page
	ui     *ui
	code   int // exit code of a command that was done
}

// run is the whole command: arguments in, exit code out.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) (code int) {
	a := &app{stdin: stdin, stdout: stdout, page: newPage(stdout), ui: newUI(stderr)}
	defer func() {
		if p := recover(); p != nil {
			a.ui.bug(p, debug.Stack())
			code = exitOurBug
		}
	}()
	root := a.rootCommand()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	if err := root.Execute(); err != nil {
		a.ui.fail(err)
		return exitInput
	}
	return a.code
}

func (a *app) rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "kerf",
		Short: "Cut a trained recurrent network until it fits a microcontroller",
		Long: `kerf takes a trained recurrent network (GRU, LSTM or Elman RNN) and its
recordings, cuts features and hidden units, brings the weights to fixed point,
measures what that costs in accuracy, checks flash, RAM and cycles against limits,
and writes C with a sign-off table.

Start with: kerf demo`,
		Version:       version,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cmd.Help()
		},
	}
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return &usageError{err.Error(),
			fmt.Sprintf("%s --help lists the options", cmd.CommandPath())}
	})
	root.AddCommand(a.demoCommand(), a.initCommand(), a.planCommand(), a.rankCommand(),
		a.observeCommand(), a.explainCommand(), a.pruneCommand(), a.unitsCommand(),
		a.recoverCommand(), a.quantizeCommand(), a.costCommand(), a.exportCommand(),
		a.measureCommand(), a.verifyCommand(), a.showCommand(), a.compareCommand(),
		a.targetsCommand(), a.versionCommand())
	addCompletions(root)
	return root
}

// noArguments is the argument rule of the commands that take none, or a command.
func noArguments(cmd *cobra.Command, args []string) error {
	switch {
	case len(args) == 0:
		return nil
	case cmd.HasSubCommands():
		return &usageError{fmt.Sprintf("unknown command %q for %q", args[0], cmd.CommandPath()),
			cmd.CommandPath() + " --help lists the commands"}
	}
	return &usageError{fmt.Sprintf("%s takes no arguments, got %d", cmd.CommandPath(), len(args)),
		cmd.CommandPath() + " --help lists the options"}
}

// oneJob is the argument rule of the commands that take a job file, or - for one on stdin.
func oneJob(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return &usageError{fmt.Sprintf("%s takes one job file, got %d arguments", cmd.CommandPath(),
			len(args)), cmd.CommandPath() + " JOB.toml"}
	}
	return nil
}
