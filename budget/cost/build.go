package cost

import (
	"regexp"
	"slices"
	"strings"

	"kerf/targets"
)

// Build is a compiler with those of its options that machine code depends on.
type Build struct {
	Compiler string // name and version, such as "GCC 12.2.1"
	Core     string // options that select the core
	Optimise string // options that say how to optimise
}

// FittedBuild returns the build that the estimates for a profile were fitted for.
func FittedBuild(p *targets.Profile) Build {
	program, _, _ := strings.Cut(EstimateOrigin(p.ISA).Compiler, ":")
	return Build{"GCC" + program[strings.LastIndex(program, " "):], p.CompilerFlags, p.Optimise}
}

// estimatedOptions lists the options for optimising that the estimates for a profile hold for, each
// entry by itself.
func estimatedOptions(p *targets.Profile) []string { return []string{p.Optimise} }

// HasEstimates reports whether the estimates for a profile hold for a build: GCC of the version
// before the first point that they were fitted for, and the same options in any order.
func (b Build) HasEstimates(p *targets.Profile) bool {
	fitted := FittedBuild(p)
	return b.IsSameCompiler(fitted.Compiler) && areSameOptions(b.Core, fitted.Core) &&
		slices.ContainsFunc(estimatedOptions(p), func(options string) bool {
			return areSameOptions(b.Optimise, options)
		})
}

// IsGCC reports whether the compiler is GCC, whatever core it compiles for.
func (b Build) IsGCC() bool { name, _ := compilerName(b.Compiler); return name == "gcc" }

// IsSameCompiler reports whether another compiler has the same name and the same version before the
// first point.
func (b Build) IsSameCompiler(other string) bool {
	name, major := compilerName(b.Compiler)
	otherName, otherMajor := compilerName(other)
	return name == otherName && major == otherMajor
}

// String names the compiler and how it optimises.
func (b Build) String() string { return strings.TrimSpace(b.Compiler + " " + b.Optimise) }

// IsCompilerName reports whether a text is the name of a compiler with its version.
func IsCompilerName(text string) bool {
	const longest = 60 // our choice: it stands in lines of reports
	return len(text) <= longest && compiler.MatchString(text)
}

// compiler matches the name of a compiler and its version.
var compiler = regexp.MustCompile(`^([A-Za-z][A-Za-z0-9 ._+-]*) ([0-9]+)(\.[0-9]+)*$`)

// compilerName parts the name of a compiler, in small letters, from its version before the first
// point. A GCC may have the prefix of what it compiles for.
func compilerName(text string) (name, major string) {
	parts := compiler.FindStringSubmatch(text)
	if parts == nil {
		return strings.ToLower(text), ""
	}
	name = strings.ToLower(parts[1])
	if strings.HasSuffix(name, "-gcc") {
		name = "gcc"
	}
	return name, parts[2]
}

// areSameOptions reports whether two texts hold the same options, in any order.
func areSameOptions(a, b string) bool {
	of := func(text string) []string {
		options := strings.Fields(text)
		slices.Sort(options)
		return options
	}
	return slices.Equal(of(a), of(b))
}
