package budget

import (
	"fmt"
	"slices"
	"strings"

	"kerf/budget/cost"
	"kerf/targets"
)

// Build is the compiler of the target with its options: what the job names, and else what the
// estimates hold for.
func (t Target) Build() cost.Build {
	b := cost.FittedBuild(t.Core)
	if t.Compiler != "" {
		if b.Compiler = t.Compiler; !b.IsGCC() {
			b.Optimise = "" // other compilers have other options
		}
	}
	if core, optimise, ok := partFlags(t.Flags); ok {
		if b.Optimise = optimise; core != "" {
			b.Core = core
		}
	}
	return b
}

// HasEstimates reports whether the estimates hold for the build of the target.
func (t Target) HasEstimates() bool {
	return t.Compiler == "" && t.Flags == "" || t.Build().HasEstimates(t.Core)
}

// kindOf is the kind of a figure that depends on the compiler: the given one where the estimates
// hold for the build of the target.
func (t Target) kindOf(kind Kind) Kind {
	if !t.HasEstimates() {
		return NotEstimated
	}
	return kind
}

// MeasuredCore is the profile of the target with the options of its build, for whoever compiles
// with them.
func (t Target) MeasuredCore() *targets.Profile {
	core, b := *t.Core, t.Build()
	core.CompilerFlags, core.Optimise = b.Core, b.Optimise
	return &core
}

// partFlags parts the options of a job that select a core from those that say how to optimise, of
// which the level comes first. It is not ok where there are others, or not one level.
func partFlags(flags string) (core, optimise string, ok bool) {
	var cores, levels, others []string
	for _, option := range strings.Fields(flags) {
		switch {
		case targets.AreCoreFlags(option):
			cores = append(cores, option)
		case targets.AreOptimisationFlags(option):
			levels = append(levels, option)
		default:
			others = append(others, option)
		}
	}
	optimise = strings.Join(slices.Concat(levels, others), " ")
	return strings.Join(cores, " "), optimise,
		len(levels) == 1 && targets.AreOptimisationFlags(optimise)
}

// checkBuild refuses a compiler without a version, and options that say something else than how to
// optimise and for which core.
func (in *Inputs) checkBuild(i int, t Target) error {
	if t.Compiler != "" && !cost.IsCompilerName(t.Compiler) {
		return in.Job.at(`name and version, for example compiler = "GCC 12.2.1"`,
			fmt.Sprintf("%q is no compiler with its version", t.Compiler), "target", i, "compiler")
	}
	if _, _, ok := partFlags(t.Flags); t.Flags != "" && !ok {
		return in.Job.at(`one option -O and those with -f and -m, for example flags = "-Os `+
			`-mcpu=cortex-m4 -mthumb"; leave out what changes no code, such as -g and -Wall`,
			fmt.Sprintf("flags %q are not how to optimise, and for which core", t.Flags),
			"target", i, "flags")
	}
	return nil
}

// warnBuilds says for which compiler and options code, stack and cycles of each target are, and
// where the job names others.
func (r *Result) warnBuilds() {
	var hold []string
	for _, t := range r.Inputs.Targets {
		fitted := cost.FittedBuild(t.Core)
		text := fitted.Optimise + " on " + t.Core.Name
		switch {
		case !t.HasEstimates():
			r.Warnings = append(r.Warnings, t.noEstimate())
		case !slices.Contains(hold, text):
			hold = append(hold, text)
		}
	}
	if len(hold) > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("code size, stack and cycles are for GCC "+
			"with %s: other options need their own", strings.Join(hold, ", ")))
	}
}

// noEstimate says that the job names a build for which there is no estimate.
func (t Target) noEstimate() string {
	b, fitted := t.Build(), cost.FittedBuild(t.Core)
	text := fmt.Sprintf("%s: the job names %s, and the estimates of code, stack and cycles hold "+
		"for %s", t.Name, b, fitted)
	if b.Core != fitted.Core {
		text = fmt.Sprintf("%s: the job names %s %s, and the estimates of code, stack and cycles "+
			"hold for %s %s", t.Name, b, b.Core, fitted, fitted.Core)
	}
	return text + "; candidates were compared by these, limits are judged by what kerf plan " +
		"--measure measures"
}
