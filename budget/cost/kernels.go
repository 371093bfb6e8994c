package cost

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"

	"kerf/targets"
)

// KernelsText is the file kernels.toml: what was measured on the emitted C and fitted. Its head
// says how to read it.
//
//go:embed kernels.toml
var KernelsText []byte

// FittedColumns is the widest row of the networks that were measured for kernels.toml
// (testdata/kernels/measurements.jsonl.gz).
const FittedColumns = 60

// kernelSet holds the figures of an instruction set: a table of kernels.toml.
type kernelSet struct {
	Compiler string `toml:"compiler"` // with version and flags
	Counted  string `toml:"counted"`  // what the counts come from
	// Kernel holds, by kernel and instruction class, how many instructions one run executes.
	Kernel map[string]map[string]float64 `toml:"kernel"`
	// Code holds the bytes of code by kernel; below zero: with the kernel, other code gets smaller.
	Code map[string]float64 `toml:"code_bytes"`
	// Stack holds bytes by frame.
	Stack map[string]int `toml:"stack_bytes"`
	// Plain holds what differs where plain C reads rows; nil where no small form is worthwhile.
	Plain *kernelSet `toml:"plain"`
}

// Form is how the emitted C reads the rows of matrices.
type Form string

// The forms. The emitted C has both, and a macro chooses: NAME_PORTABLE.
const (
	Fast  Form = "fast"  // kernels in assembler
	Small Form = "small" // plain C: less code, more cycles
)

// HasSmall reports whether an instruction set, named as in targets.Profile.ISA, has a small form.
// AVR has none: there the kernels in assembler are smaller than plain C as well.
func HasSmall(isa string) bool { return kernelsFor(isa, Fast).Plain != nil }

// kernelSets reads kernels.toml, once. It panics on a mistake in it.
var kernelSets = sync.OnceValue(func() map[string]*kernelSet {
	sets := map[string]*kernelSet{}
	if err := targets.StrictDecode(KernelsText, "kernels.toml", &sets); err != nil {
		panic(fmt.Sprintf("cost: %v", err))
	}
	for _, set := range sets {
		if set.Plain != nil {
			set.Plain = set.with(set.Plain)
		}
	}
	return sets
})

// with returns the figures with some of them replaced.
func (k *kernelSet) with(other *kernelSet) *kernelSet {
	all := *k
	all.Plain = nil
	all.Kernel, all.Code, all.Stack = maps.Clone(k.Kernel), maps.Clone(k.Code), maps.Clone(k.Stack)
	maps.Copy(all.Kernel, other.Kernel)
	maps.Copy(all.Code, other.Code)
	maps.Copy(all.Stack, other.Stack)
	return &all
}

// kernelsFor returns the figures of a form on an instruction set, named as in targets.Profile.ISA.
// It panics if there are none: profiles with other instruction sets are refused when they are read.
func kernelsFor(isa string, form Form) *kernelSet {
	set, ok := kernelSets()[isa]
	if ok && form == Small {
		set = set.Plain
	}
	if set == nil {
		panic(fmt.Sprintf("cost: no kernels for instruction set %q, form %s", isa, form))
	}
	return set
}

// Origin says what the estimates for an instruction set rest on.
type Origin struct {
	Compiler string // with version and flags
	Counted  string // how the instructions of a step were counted
}

// EstimateOrigin returns the origin of the estimates for an instruction set, named as in
// targets.Profile.ISA. It panics on an instruction set without kernels, which no profile has.
func EstimateOrigin(isa string) Origin {
	k := kernelsFor(isa, Fast)
	return Origin{k.Compiler, k.Counted}
}

// simulated is the class of cycles that a simulator counted.
const simulated = "cycle"

// isSimulated reports whether kernels hold cycles of a simulator instead of instructions by class.
func (k *kernelSet) isSimulated() bool {
	for _, counts := range k.Kernel {
		if _, ok := counts[simulated]; ok {
			return true
		}
	}
	return false
}

// cycles estimates one run of a kernel on a core: instructions of each class times cycles of the
// class. It panics on a kernel without figures.
func (k *kernelSet) cycles(of kernel, p *targets.Profile) float64 {
	counts := lookUp(k.Kernel, of)
	// The fixed order makes the rounding, and so the report, the same in each run.
	var sum float64
	for _, class := range slices.Sorted(maps.Keys(counts)) {
		cycles := 1.0
		if class != simulated {
			cycles = p.Cycles(class)
		}
		sum += float64(counts[class] * cycles)
	}
	return sum
}

// codeBytes adds up the bytes of kernels.
func (k *kernelSet) codeBytes(code runs) float64 {
	sum := 0.0
	for _, run := range code.byName() {
		sum += float64(run.n * lookUp(k.Code, run.kernel))
	}
	return sum
}

// run is a kernel and how often it runs or stands in the code.
type run struct {
	kernel
	n float64
}

// byName lists runs in the order of their names, so that sums are rounded the same in each run of
// kerf.
func (r runs) byName() []run {
	type namedRun struct {
		run
		name string
	}
	all := make([]namedRun, 0, len(r))
	for k, n := range r {
		all = append(all, namedRun{run{k, n}, k.name()})
	}
	slices.SortFunc(all, func(a, b namedRun) int { return strings.Compare(a.name, b.name) })
	sorted := make([]run, len(all))
	for i, r := range all {
		sorted[i] = r.run
	}
	return sorted
}

// lookUp returns the figure of a kernel. Where the measured networks do not have the kernel, the
// one that is most like it stands in, and for a correction nothing. It panics if there is none.
func lookUp[V any](figures map[string]V, of kernel) V {
	if v, ok := figures[of.name()]; ok {
		return v
	}
	for _, other := range of.alike() {
		if v, ok := figures[other.name()]; ok {
			return v
		}
	}
	if of.isCorrection() {
		var nothing V
		return nothing
	}
	panic(fmt.Sprintf("cost: no kernel %q", of.name()))
}

// figure returns the figure of that name. It panics if there is none.
func figure(of map[string]int, name string) int {
	v, ok := of[name]
	if !ok {
		panic(fmt.Sprintf("cost: kernels.toml has no figure %q", name))
	}
	return v
}
