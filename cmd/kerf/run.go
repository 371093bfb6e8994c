package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"kerf/fault"
)

// version of kerf; it stands in every handoff.
const version = "0.1.0"

// Exit codes.
const (
	exitDone   = 0 // done, within every limit and tolerance
	exitBroken = 1 // done, and a limit or tolerance is broken or cannot be judged
	exitInput  = 2 // usage or input error
	exitOurBug = 3 // a bug of kerf

	// exitInterrupted is what a shell says of a program that SIGINT has ended: 128 plus the number
	// of the signal (POSIX.1-2017, Shell and Utilities 2.8.2; SIGINT is 2).
	exitInterrupted = 130
)

// app is one run of the command: its streams, and how it ends.
type app struct {
	stdin  io.Reader
	stdout io.Writer
	page   page
	ui     *ui
	code   int // exit code of a command that was done

	checkpoint string // that keeps trainings; empty: none
}

// run is the whole command: arguments in, exit code out. It makes the one context that every verb
// gets: Ctrl-C ends it. A second Ctrl-C ends the process, whatever it does.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) (code int) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	context.AfterFunc(ctx, stop)
	ui := newUI(stderr)
	a := &app{stdin: interruptible{ctx, stdin}, stdout: clearing{stdout, ui},
		page: newPage(stdout), ui: ui}
	defer func() {
		if p := recover(); p != nil {
			a.ui.bug(p, debug.Stack())
			code = exitOurBug
		}
	}()
	root := a.rootCommand()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	switch err := root.ExecuteContext(ctx); {
	case errors.Is(err, context.Canceled):
		if a.checkpoint != "" {
			a.ui.note("the trainings so far are in " + a.checkpoint + ": the same command goes " +
				"on from there")
		}
		return exitInterrupted
	case err != nil:
		a.ui.fail(err)
		return exitInput
	}
	return a.code
}

// exit ends the process with the exit code of run. After an interrupt it ends by the signal itself,
// as a program that does not catch it, so that a shell which runs a script ends the script as well.
func exit(code int) {
	if code == exitInterrupted {
		signal.Reset(os.Interrupt)
		if self, err := os.FindProcess(os.Getpid()); err == nil &&
			self.Signal(os.Interrupt) == nil { // Windows has no signals to send
			time.Sleep(time.Second) // the signal comes at once, but maybe to another thread
		}
	}
	os.Exit(code)
}

// interruptible is a reader, such as of a terminal, that Ctrl-C ends while it waits for bytes.
type interruptible struct {
	ctx  context.Context
	from io.Reader
}

// Read implements io.Reader. The error after an interrupt is that of the context.
func (r interruptible) Read(p []byte) (int, error) {
	type read struct {
		n   int
		err error
	}
	own, done := make([]byte, len(p)), make(chan read, 1)
	go func() {
		n, err := r.from.Read(own)
		done <- read{n, err}
	}()
	select {
	case <-r.ctx.Done():
		return 0, r.ctx.Err()
	case got := <-done:
		return copy(p, own[:got.n]), got.err
	}
}

// rootCommand returns the command with all its verbs.
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
		help := cmd.CommandPath() + " --help lists the options"
		var unknown *pflag.NotExistError
		if errors.As(err, &unknown) {
			name := unknown.GetSpecifiedName()
			if now := renamed[name]; now != "" && cmd.Flags().Lookup(now) != nil {
				help = fmt.Sprintf("--%s names the %s that stay, as kerf rank lists them", now,
					name)
				if count := name + "-count"; cmd.Flags().Lookup(count) != nil {
					help += "; --" + count + " says how many"
				}
			} else {
				help = fault.DidYouMeanOr("--"+name, optionsOf(cmd), help)
			}
		}
		return fault.New(err.Error(), help).From(err)
	})
	root.AddCommand(a.demoCommand(), a.initCommand(), a.planCommand(), a.rankCommand(),
		a.observeCommand(), a.featuresCommand(), a.explainCommand(), a.pruneCommand(),
		a.unitsCommand(), a.recoverCommand(), a.quantizeCommand(), a.costCommand(),
		a.exportCommand(), a.measureCommand(), a.verifyCommand(), a.showCommand(),
		a.compareCommand(), a.targetsCommand(), a.versionCommand(), a.wordsTopic())
	addCompletions(root)
	root.SetHelpCommand(helpCommand(root))
	return root
}

// helpCommand prints the help of a command or a page of the help, and refuses what is neither.
func helpCommand(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Help about a command",
		RunE: func(_ *cobra.Command, args []string) error {
			cmd, rest, err := root.Find(args)
			if err != nil || len(rest) > 0 {
				topic := strings.Join(args, " ")
				var names []string
				for _, c := range root.Commands() {
					names = append(names, c.Name())
				}
				return fault.New(fmt.Sprintf("there is no help on %q", topic),
					fault.DidYouMeanOr(topic, names, "kerf help lists the commands"))
			}
			return cmd.Help()
		},
	}
}

// noArguments refuses arguments, of a command that groups others as unknown commands.
func noArguments(cmd *cobra.Command, args []string) error {
	switch {
	case len(args) == 0:
		return nil
	case cmd.HasSubCommands():
		var known []string
		for _, c := range cmd.Commands() {
			known = append(known, c.Name())
		}
		return fault.New(fmt.Sprintf("unknown command %q for %q", args[0], cmd.CommandPath()),
			fault.DidYouMeanOr(args[0], known, cmd.CommandPath()+" --help lists the commands"))
	}
	return fault.New(fmt.Sprintf("%s takes no arguments, got %d", cmd.CommandPath(), len(args)),
		cmd.CommandPath()+" --help lists the options")
}

// optionsOf lists the options of a command as they are written.
func optionsOf(cmd *cobra.Command) []string {
	var options []string
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			options = append(options, "--"+f.Name)
		}
	})
	return options
}

// oneJob refuses all but one argument: a job file, or - for a job on stdin.
func oneJob(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return fault.New(fmt.Sprintf("%s takes one job file, got %d arguments", cmd.CommandPath(),
			len(args)), cmd.CommandPath()+" JOB.toml")
	}
	return nil
}
