package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"kerf/budget"
	"kerf/budget/cost"
	"kerf/dataset"
	"kerf/exporter"
	"kerf/exporter/emit"
	"kerf/fault"
	"kerf/targets"
	"kerf/targets/measure"
)

// subject is one target to measure. estimate holds the rows of the cost table as estimated; there
// are none for a profile that the handoff was not made for.
type subject struct {
	target   string
	profile  *targets.Profile // with the options of the build
	compiler string           // that the job names; empty: none
	portable string           // compiler option of the small form; empty: the fast one
	estimate []budget.Cost
	front    *measure.Front // nil: no feature is computed from samples
}

// resultSubjects lists the targets of a result, or those with the names where names are given.
func resultSubjects(r *budget.Result, names []string) []subject {
	var subjects []subject
	for _, t := range r.Inputs.Targets {
		if len(names) == 0 || slices.Contains(names, t.Name) {
			subjects = append(subjects, subject{t.Name, t.MeasuredCore(), t.Compiler,
				portableOption(r.Inputs.Job.Name, r.Inputs.FormOf(r.Chosen.Candidate, t)),
				costsOf(r.Costs, t.Name), frontOf(r)})
		}
	}
	return subjects
}

// portableOption returns the compiler option of a form; empty: it has none.
func portableOption(name string, form cost.Form) string {
	if form == cost.Small {
		return emit.PortableOption(name)
	}
	return ""
}

// frontOf says how to run what computes the features of a result from samples; nil where nothing is
// computed.
func frontOf(r *budget.Result) *measure.Front {
	front, _ := r.Inputs.FrontEndOf(r.Chosen.Candidate)
	if front == nil {
		return nil
	}
	f := &measure.Front{Samples: front.Sampling.Samples}
	for _, c := range front.Channels {
		f.Bits = append(f.Bits, c.Converter.Bits)
	}
	return f
}

// costsOf returns the rows of one target.
func costsOf(costs []budget.Cost, target string) []budget.Cost {
	return slices.DeleteFunc(slices.Clone(costs), func(c budget.Cost) bool {
		return c.Target != target
	})
}

// flags returns the compiler flags that the estimate is for: the macro of the small form, and
// weights in RAM where it counts them there.
func (s subject) flags(name string) []string {
	var flags []string
	if s.portable != "" {
		flags = append(flags, s.portable)
	}
	for _, c := range s.estimate {
		if c.Resource == budget.RAM && c.Part == "weights" {
			return append(flags, "-D"+strings.ToUpper(name)+"_WEIGHTS_IN_RAM")
		}
	}
	return flags
}

// requireTools refuses targets of a job that cannot be measured here, before any work: those with
// the names, or all where there are none.
func requireTools(ctx context.Context, in *budget.Inputs, names []string) error {
	for _, t := range in.Targets {
		if len(names) == 0 || slices.Contains(names, t.Name) {
			if err := requireFor(ctx, t.Name, t.MeasuredCore(), t.Compiler); err != nil {
				return err
			}
		}
	}
	return nil
}

// requireFor refuses a target whose tools are not installed, or whose compiler is another one than
// the job names: figures of another one say nothing of that.
func requireFor(ctx context.Context, target string, p *targets.Profile, named string) error {
	found, err := measure.Require(ctx, p)
	if err != nil {
		return fmt.Errorf("%s: %w", target, err)
	}
	if installed := found.Name + " " + found.Version; named != "" &&
		!(cost.Build{Compiler: named}).IsSameCompiler(installed) {
		return fault.New(fmt.Sprintf("%s: the job names %s, and what is installed is %s", target,
			named, installed), "install that compiler as "+found.Name+", or measure on the board; "+
			"without compiler in the target of the job the installed one counts")
	}
	return nil
}

// writeScratch writes the files of a handoff into a new folder, which the caller removes.
func writeScratch(r *budget.Result) (dir string, err error) {
	files, err := exporter.Files(r, version)
	if err != nil {
		return "", err
	}
	if dir, err = os.MkdirTemp("", "kerf-measure-"); err != nil {
		return "", err
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			os.RemoveAll(dir) // the first error is the one to report
			return "", err
		}
	}
	return dir, nil
}

// measureAll compiles the C in dir for every subject and runs it, with the optimisation flags of
// each profile where optimise is empty. The error is that of the first subject that cannot be
// measured.
func (a *app) measureAll(ctx context.Context, dir, name string, subjects []subject,
	optimise string) ([]*measure.Result, error) {
	step, end := a.ui.progress("measuring on emulated cores")
	defer end()
	var lock sync.Mutex // of done
	done := make([]int, len(subjects))
	results, errs := make([]*measure.Result, len(subjects)), make([]error, len(subjects))
	dataset.InParallel(len(subjects), func(i int) {
		progress := func(of, all int) {
			lock.Lock()
			defer lock.Unlock()
			done[i] = of
			sum := 0
			for _, n := range done {
				sum += n
			}
			step(sum, all*len(subjects))
		}
		results[i], errs[i] = measure.Network(ctx, subjects[i].profile, dir, name,
			measure.Options{Optimise: optimise, Flags: subjects[i].flags(name), Search: true,
				Front: subjects[i].front, Progress: progress})
	})
	for i, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("%s: %w", subjects[i].target, err)
		}
	}
	return results, nil
}

// measureResult compiles and runs the C of a result for every target of the job and puts what was
// measured into the result.
func (a *app) measureResult(ctx context.Context, r *budget.Result) error {
	dir, err := writeScratch(r)
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	subjects := resultSubjects(r, nil)
	found, err := a.measureAll(ctx, dir, r.Inputs.Job.Name, subjects, "")
	if err != nil {
		return err
	}
	var all []budget.Measurement
	for i, s := range subjects {
		all = append(all, s.measured(found[i], s.profile.Optimise))
	}
	r.TakeMeasured(all)
	return nil
}

// measured returns the figures of a subject as package budget takes them.
func (s subject) measured(r *measure.Result, optimise string) budget.Measurement {
	m := budget.Measurement{
		Target: s.target, Flash: float64(r.Flash), RAM: float64(r.RAM),
		Stack: float64(r.StackChain), Cycles: r.Longest.Cycles,
		Times: budget.StepTimes{Steps: len(r.Cycles), Least: r.MinCycles(), Mean: r.MeanCycles(),
			Most: r.MaxCycles(), Searched: r.Longest.Steps, Text: r.StepTimes()},
		Optimise: strings.TrimSpace(optimise + " " + s.portable), CyclesFrom: r.CyclesFrom,
	}
	if f := r.Front; f != nil {
		m.Front = &budget.FrontMeasurement{Flash: float64(f.Flash), RAM: float64(f.RAM),
			SampleStack: float64(f.SampleChain), FeaturesStack: float64(f.FeaturesChain),
			Sampling: f.Sampling.Cycles, Last: f.Last.Cycles, Longest: f.Longest.Cycles,
			Features: f.Features.Cycles, Windows: f.Windows}
	}
	for _, tool := range r.Tools {
		m.ToolNames, m.ToolVersion = append(m.ToolNames, tool.Name),
			append(m.ToolVersion, tool.Version)
	}
	return m
}
