package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/budget/cost"
	"kerf/exporter"
	"kerf/exporter/emit"
	"kerf/exporter/report"
	"kerf/fault"
	"kerf/targets"
	"kerf/targets/measure"
	"kerf/whole"
)

func (a *app) measureCommand() *cobra.Command {
	var names nameList
	var level string
	cmd := a.verb(&cobra.Command{
		Use: "measure HANDOFF|JOB.toml",
		Short: "Compile the C for every target, run it on an emulated core, and compare with " +
			"the estimates",
		Long: `measure compiles a handoff for each of its targets, reads flash and RAM from linked
programs with and without the network, the stack from the compiler's account and
from what a step changes, and counts the cycles of every step on an emulated core. The
cycles it judges are those of the longest step that a search for bad inputs finds.
Given a job it chooses as plan does and measures the C that plan would write. It compiles
with the flags that the job names for a target, and where it names none with those of the
profile.

It needs the cross compiler and the emulator of each target; where one is missing,
it names the Debian package. Cycles are those of instructions without flash wait
states: the device decides.

Exit code: 1 when a measured value is above a limit of the job.`,
		Example: `  kerf measure job.toml
  kerf measure job.toml --target cortex-m0plus --optimise=-Os --json`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return fault.New(fmt.Sprintf("%s takes one handoff folder or job file, got %d "+
					"arguments", cmd.CommandPath(), len(args)), cmd.CommandPath()+" handoff")
			}
			if level != "" && !targets.AreOptimisationFlags(level) {
				return fault.New(fmt.Sprintf("--optimise: %q are no optimisation flags", level),
					`such as --optimise=-Os or --optimise="-O2 -fno-tree-ter"`)
			}
			return nil
		},
	}, func(ctx context.Context, args []string) (result, error) {
		return a.measure(ctx, args[0], names, level)
	})
	cmd.Flags().Var(&names, "target",
		"measure only these targets; of a handoff also any built-in profile; "+namesInCSV)
	cmd.Flags().StringVar(&level, "optimise", "", "optimisation flags of the compiler instead "+
		"of those of the job or the profile, such as -Os")
	return cmd
}

// measure measures the C of a handoff folder, or the C that plan would write for a job.
func (a *app) measure(ctx context.Context, path string, names []string,
	optimise string) (result, error) {
	info, err := os.Stat(path)
	if err != nil && path != standardStream {
		return nil, unreadable(path, err,
			"give a handoff folder, as kerf plan writes it, or a job file")
	}
	if err == nil && info.IsDir() {
		s, subjects, err := handoffSubjects(path, names)
		if err != nil {
			return nil, err
		}
		if err := checkEmitted(path); err != nil {
			return nil, err
		}
		for _, one := range subjects {
			if err := requireFor(ctx, one.target, one.profile, one.compiler); err != nil {
				return nil, err
			}
		}
		return a.compareMeasured(ctx, path, s.Name, subjects, optimise)
	}
	in, err := a.load(ctx, path)
	if err != nil {
		return nil, err
	}
	if err := checkTargets(in, names); err != nil {
		return nil, err
	}
	if err := requireTools(ctx, in, names); err != nil {
		return nil, err
	}
	pl, cut, chosen, err := a.choose(ctx, in, choice{})
	if err != nil {
		return nil, err
	}
	r := pl.Price(cut, chosen)
	dir, err := writeScratch(r)
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	return a.compareMeasured(ctx, dir, in.Job.Name, resultSubjects(r, names), optimise)
}

// compareMeasured measures the C in dir for every subject and compares it with the estimates.
func (a *app) compareMeasured(ctx context.Context, dir, name string, subjects []subject,
	optimise string) (result, error) {
	found, err := a.measureAll(ctx, dir, name, subjects, optimise)
	if err != nil {
		return nil, err
	}
	m := &measurement{Name: name, Kerf: version}
	for i, s := range subjects {
		m.Targets = append(m.Targets, compareWithEstimate(s, found[i], optimise))
	}
	return m, nil
}

// checkEmitted refuses C that this kerf does not write for the network of a handoff: an emulated
// program can reach the files of this machine.
func checkEmitted(dir string) error {
	v, err := exporter.Verify(dir, version)
	if err == nil && !v.Emitted() {
		err = &fault.Error{File: dir, Msg: "the C is not what this kerf writes for the " +
			"network of the handoff, so it is not run", Hint: "kerf verify " + dir +
			" says what differs; measure a handoff that was made by this version"}
	}
	return err
}

// handoffSubjects reads the sign-off of a handoff and lists what is to be measured: the targets of
// the handoff, or where names are given the targets and built-in profiles with these names.
func handoffSubjects(dir string, names []string) (*report.Signoff, []subject, error) {
	file := filepath.Join(dir, exporter.SignoffFile)
	text, err := whole.ReadRegular(file, report.MaxJSONBytes)
	if err != nil {
		return nil, nil,
			unreadable(file, err, "give a handoff folder, as kerf plan writes it, or a job file")
	}
	s := &report.Signoff{}
	if err := json.Unmarshal(text, s); err != nil || emit.CheckPrefix(s.Name) != nil {
		return nil, nil, &fault.Error{File: file, Msg: "this is no sign-off of kerf",
			Hint: "make the handoff anew with kerf plan"}
	}
	estimated := estimates(s)
	var subjects []subject
	for _, target := range s.TargetNames() {
		if len(names) > 0 && !slices.Contains(names, target) {
			continue
		}
		rows := costsOf(estimated, target)
		p, err := targets.Load(rows[0].Profile)
		if err != nil {
			return nil, nil,
				fault.New(fmt.Sprintf("target %s has the profile %s, which is none of the "+
					"built-in ones", target, rows[0].Profile), "give the job file: it names the "+
					"file of the profile")
		}
		core, compiler, form := builtAs(s, target, p)
		subjects = append(subjects, subject{target: target, profile: core, compiler: compiler,
			portable: portableOption(s.Name, form), estimate: rows})
	}
	for _, name := range names {
		if slices.Contains(s.TargetNames(), name) {
			continue
		}
		p, err := targets.Load(name)
		if err != nil {
			return nil, nil, unknownTarget(name, append(s.TargetNames(), targets.Names()...))
		}
		subjects = append(subjects, subject{target: name, profile: p})
	}
	front, err := handoffFront(dir, s.Name)
	for i := range subjects {
		subjects[i].front = front
	}
	return s, subjects, err
}

// builtAs returns a profile with the options that the job of a handoff names for a target, the
// compiler that it names, and the form that was signed.
func builtAs(s *report.Signoff, target string, p *targets.Profile) (core *targets.Profile,
	compiler string, form cost.Form) {
	form = cost.Fast
	for _, b := range s.Build {
		if b.Name != emit.BuildName(target) {
			continue
		}
		if slices.Contains(b.Named, emit.NamedFlags) {
			named := *p
			named.CompilerFlags, named.Optimise = b.Core, b.Optimise
			p = &named
		}
		if slices.Contains(b.Named, emit.NamedCompiler) {
			compiler = b.Compiler
		}
		if b.Portable {
			form = cost.Small
		}
	}
	return p, compiler, form
}

// handoffFront says how to run the front end of a handoff; nil where it has none.
func handoffFront(dir, name string) (*measure.Front, error) {
	file := filepath.Join(dir, name+emit.NetworkSuffix)
	const hint = "make the handoff anew with kerf plan"
	text, err := whole.ReadRegular(file, report.MaxJSONBytes)
	if err != nil {
		return nil, unreadable(file, err, hint)
	}
	network, err := emit.ReadNetworkFile(text)
	if err != nil {
		return nil, &fault.Error{File: file, Msg: err.Error(), Hint: hint}
	}
	if network.Front == nil {
		return nil, nil
	}
	f := &measure.Front{Samples: network.Front.Samples}
	for _, c := range network.Front.Channels {
		f.Bits = append(f.Bits, c.Bits)
	}
	return f, nil
}

// estimates returns the cost rows of a sign-off as they were estimated, also where the handoff was
// measured when it was made.
func estimates(s *report.Signoff) []budget.Cost {
	var costs []budget.Cost
	for _, r := range s.Cost {
		c := budget.Cost{Target: r.Target, Profile: r.Profile, Resource: r.Resource, Part: r.Part,
			Value: r.Value, Unit: r.Unit, Kind: budget.Kind(r.Kind), Estimate: math.NaN(),
			Limit: math.NaN()}
		if r.Estimate != nil {
			c.Value, c.Kind = *r.Estimate, budget.Kind(r.EstimateKind)
		}
		if !s.HasEstimate(&r) {
			c.Kind = budget.NotEstimated
		}
		if r.Limit != nil {
			c.Limit = *r.Limit
		}
		costs = append(costs, c)
	}
	return costs
}

// checkTargets refuses names of targets that the job does not have.
func checkTargets(in *budget.Inputs, names []string) error {
	for _, name := range names {
		if !slices.ContainsFunc(in.Targets, func(t budget.Target) bool { return t.Name == name }) {
			var known []string
			for _, t := range in.Targets {
				known = append(known, t.Name)
			}
			return unknownTarget(name, known)
		}
	}
	return nil
}

// unknownTarget returns the error for a target that nobody knows.
func unknownTarget(name string, known []string) error {
	slices.Sort(known)
	return fault.New(fmt.Sprintf("--target: unknown target %q", name),
		fault.DidYouMean(name, slices.Compact(known)))
}

// unreadable returns the error for a file that cannot be read, without repeating its path.
func unreadable(path string, err error, hint string) error {
	return fault.OfFile(path, "cannot be read", err, hint)
}
