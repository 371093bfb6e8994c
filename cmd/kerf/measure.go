package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter"
	"kerf/exporter/emit"
	"kerf/exporter/report"
	"kerf/targets"
	"kerf/targets/measure"
	"kerf/whole"
)

func (a *app) measureCommand() *cobra.Command {
	var names nameList
	var level string
	var format string
	cmd := &cobra.Command{
		Use: "measure HANDOFF|JOB.toml",
		Short: "Compile the C for every target, run it on an emulated core, and compare with " +
			"the estimates",
		Long: `measure compiles a handoff for each of its targets, reads flash and RAM from linked
programs with and without the network, the stack from the compiler's account and
from what a step changes, and counts the cycles of every step on an emulated core. The
cycles it judges are those of the longest step that a search for bad inputs finds.
Given a job it chooses as plan does and measures the C that plan would write.

It needs the cross compiler and the emulator of each target; where one is missing,
it names the Debian package. Cycles are those of instructions without flash wait
states: the device decides.

Exit code: 1 when a measured value is above a limit of the job.`,
		Example: `  kerf measure job.toml
  kerf measure job.toml --target cortex-m0plus --optimise=-Os --json`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return &usageError{fmt.Sprintf("%s takes one handoff folder or job file, got %d "+
					"arguments", cmd.CommandPath(), len(args)), cmd.CommandPath() + " handoff"}
			}
			if level != "" && !targets.AreOptimisationFlags(level) {
				return &usageError{fmt.Sprintf("--optimise: %q are no optimisation flags", level),
					`such as --optimise=-Os or --optimise="-O2 -fno-tree-ter"`}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.measure(cmd.Context(), args[0], names, measure.Options{Optimise: level},
				format)
		},
	}
	cmd.Flags().Var(&names, "target",
		"measure only these targets; of a handoff also any built-in profile; "+namesInCSV)
	cmd.Flags().StringVar(&level, "optimise", "", "optimisation flags of the compiler instead "+
		"of those of the profile, such as -Os")
	formatFlag(cmd, &format)
	return cmd
}

// subject is one target to measure; estimate holds the rows of the cost table, none for a profile
// beyond the handoff's.
type subject struct {
	target   string
	profile  *targets.Profile
	estimate []report.CostRow
}

// flags are those of the compiler that the estimate is for.
func (s subject) flags(name string) []string {
	if s.find(budget.RAM, "weights") == nil {
		return nil
	}
	return []string{"-D" + strings.ToUpper(name) + "_WEIGHTS_IN_RAM"}
}

func (a *app) measure(ctx context.Context, path string, names []string, o measure.Options,
	format string) error {
	info, err := os.Stat(path)
	isFolder := err == nil && info.IsDir()
	if err != nil && path != standardStream {
		return unreadable(path, err, "give a handoff folder, as kerf plan writes it, or a job file")
	}
	var name string
	var subjects []subject
	dir := path
	if isFolder {
		if name, subjects, err = handoffSubjects(path, names); err == nil {
			err = checkEmitted(path)
		}
	} else {
		if dir, err = os.MkdirTemp("", "kerf-handoff-"); err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		name, subjects, err = a.jobSubjects(ctx, path, dir, names)
	}
	if err != nil {
		return err
	}
	m := &measurement{Name: name, Kerf: version}
	progress := a.ui.progress("measured target")
	for i, s := range subjects {
		o.Flags, o.Search = s.flags(name), true
		r, err := measure.Network(ctx, s.profile, dir, name, o)
		if err != nil {
			return fmt.Errorf("%s: %w", s.target, err)
		}
		one := compareWithEstimate(s, r)
		one.Optimise = o.Optimise
		if one.Optimise == "" {
			one.Optimise = s.profile.Optimise
		}
		m.Targets = append(m.Targets, one)
		progress(i+1, len(subjects))
	}
	a.ui.endProgress()
	if m.isBroken() {
		a.code = exitBroken
	}
	return a.print(format, m)
}

// checkEmitted refuses C that this kerf does not write for the network of a handoff: an emulated
// program can reach the files of this machine.
func checkEmitted(dir string) error {
	v, err := exporter.Verify(dir, version)
	if err == nil && !v.Emitted() {
		err = &targets.FileError{File: dir, Msg: "the C is not what this kerf writes for the " +
			"network of the handoff, so it is not run", Hint: "kerf verify " + dir +
			" says what differs; measure a handoff that was made by this version"}
	}
	return err
}

// handoffSubjects reads the sign-off of a handoff.
func handoffSubjects(dir string, names []string) (string, []subject, error) {
	file := filepath.Join(dir, exporter.SignoffFile)
	text, err := whole.ReadRegular(file, report.MaxJSONBytes)
	if err != nil {
		return "", nil,
			unreadable(file, err, "give a handoff folder, as kerf plan writes it, or a job file")
	}
	s := &report.Signoff{}
	if err := json.Unmarshal(text, s); err != nil || emit.CheckPrefix(s.Name) != nil {
		return "", nil, &targets.FileError{File: file, Msg: "this is no sign-off of kerf",
			Hint: "make the handoff anew with kerf plan"}
	}
	var subjects []subject
	for _, target := range s.TargetNames() {
		rows := rowsOf(s, target)
		if len(names) > 0 && !slices.Contains(names, target) {
			continue
		}
		p, err := targets.Load(rows[0].Profile)
		if err != nil {
			return "", nil,
				&usageError{fmt.Sprintf("target %s has the profile %s, which is none of the "+
					"built-in ones", target, rows[0].Profile), "give the job file: it names the " +
					"file of the profile"}
		}
		subjects = append(subjects, subject{target, p, rows})
	}
	for _, name := range names {
		if slices.Contains(s.TargetNames(), name) {
			continue
		}
		p, err := targets.Load(name)
		if err != nil {
			return "", nil, unknownTarget(name, append(s.TargetNames(), targets.Names()...))
		}
		subjects = append(subjects, subject{name, p, nil})
	}
	return s.Name, subjects, nil
}

// jobSubjects chooses as plan does and writes the handoff into dir.
func (a *app) jobSubjects(ctx context.Context, job, dir string,
	names []string) (string, []subject, error) {
	in, err := a.load(job)
	if err != nil {
		return "", nil, err
	}
	for _, name := range names {
		if !slices.ContainsFunc(in.Targets, func(t budget.Target) bool { return t.Name == name }) {
			var known []string
			for _, t := range in.Targets {
				known = append(known, t.Name)
			}
			return "", nil, unknownTarget(name, known)
		}
	}
	pl, cut, chosen, err := a.choose(ctx, in, choice{})
	if err != nil {
		return "", nil, err
	}
	r := pl.Price(cut, chosen)
	files, err := exporter.Files(r, version)
	if err != nil {
		return "", nil, err
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return "", nil, err
		}
	}
	s := report.NewSignoff(r, version)
	var subjects []subject
	for _, t := range in.Targets {
		if len(names) == 0 || slices.Contains(names, t.Name) {
			subjects = append(subjects, subject{t.Name, t.Core, rowsOf(s, t.Name)})
		}
	}
	return s.Name, subjects, nil
}

// rowsOf are the cost rows of a target as estimated.
func rowsOf(s *report.Signoff, target string) []report.CostRow {
	var rows []report.CostRow
	for _, c := range s.Cost {
		if c.Target != target {
			continue
		}
		if c.Estimate != nil { // the handoff was measured when it was made
			c.Value, c.Kind = *c.Estimate, c.EstimateKind
		}
		rows = append(rows, c)
	}
	return rows
}

func unknownTarget(name string, known []string) error {
	slices.Sort(known)
	return &usageError{fmt.Sprintf("--target: unknown target %q", name),
		"known here: " + dataset.ListNames(slices.Compact(known))}
}

// unreadable says that a file cannot be read, without repeating its path.
func unreadable(path string, err error, hint string) error {
	var pathError *fs.PathError
	if errors.As(err, &pathError) {
		err = pathError.Err
	}
	return &targets.FileError{File: path, Msg: "cannot be read: " + err.Error(), Hint: hint}
}
