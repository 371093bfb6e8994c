package cost

import (
	_ "embed"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"kerf/model"
	"kerf/quant"
	"kerf/targets"
)

// kernelsFile holds what was measured on the emitted C; its head says how.
//
//go:embed kernels.toml
var KernelsText []byte

// kernelSet is what the emitted C takes on one instruction set: a table of
// kernels.toml.
type kernelSet struct {
	Compiler string `toml:"compiler"` // with version and flags
	Counted  string `toml:"counted"`  // what the counts come from
	// Kernel holds, by kernel and instruction class, how many instructions
	// one run of the kernel executes.
	Kernel map[string]map[string]float64 `toml:"kernel"`
	// by part of the code; below zero: the part saves code
	Code  map[string]float64 `toml:"code_bytes"`
	Stack map[string]int     `toml:"stack_bytes"` // see StackKey
}

// kernelSets reads kernels.toml, once. It panics on a mistake in it.
var kernelSets = sync.OnceValue(func() map[string]*kernelSet {
	sets := map[string]*kernelSet{}
	if err := targets.StrictDecode(KernelsText, "kernels.toml", &sets); err != nil {
		panic(fmt.Sprintf("cost: %v", err))
	}
	return sets
})

// kernelsFor returns the kernels of an instruction set, named as in
// targets.Profile.ISA. It panics if there is none: profiles with other
// instruction sets are refused when they are read.
func kernelsFor(isa string) *kernelSet {
	set, ok := kernelSets()[isa]
	if !ok {
		panic(fmt.Sprintf("cost: no kernels for instruction set %q", isa))
	}
	return set
}

// fittedColumns is the widest row of the networks that kernels.toml is fitted to
// (testdata/kernels/measurements.jsonl.gz).
const FittedColumns = 63

// widestRow is the largest number of columns of any matrix.
func WidestRow(s quant.Shape) int {
	columns := 0
	eachMatrix(s, func(m matrix) { columns = max(columns, m.columns) })
	return columns
}

// simulated is the class of cycles that a simulator counted.
const simulated = "cycle"

// cycles estimates one run of a kernel on a core, in cycles: instructions of
// each class times cycles of the class. It panics on an unknown kernel.
func (k *kernelSet) cycles(kernel string, p *targets.Profile) float64 {
	counts := lookUp(k.Kernel, kernel)
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

// isSimulated tells that kernels hold cycles of a simulator instead of instructions by class.
func (k *kernelSet) isSimulated() bool {
	for _, counts := range k.Kernel {
		if _, ok := counts[simulated]; ok {
			return true
		}
	}
	return false
}

// layerKey names a kind of recurrent layer and the width of its state.
func layerKey(kind model.Kind, stateBits int) string {
	names := map[model.Kind]string{
		model.GRUResetAfter: "gru_after", model.GRUResetBefore: "gru_before", model.LSTM: "lstm",
		model.ElmanTanh: "elman_tanh", model.ElmanReLU: "elman_relu",
	}
	return names[kind] + strconv.Itoa(stateBits)
}

// usesTable tells whether an activation reads the tanh table.
func usesTable(a model.Activation) bool { return a == model.Tanh || a == model.Logistic }

// codeBytes estimates the code of the inference in bytes, without weights and
// tables.
func CodeBytes(s quant.Shape, isa string) int {
	k := kernelsFor(isa)
	own, shared := functions(s, isa)
	size := k.code(shared)
	for _, f := range own {
		size += k.code(f.code)
	}
	return int(math.Round(max(size, 0)))
}

// code adds up parts of the code, in bytes. The fixed order makes the rounding the same in each
// run.
func (k *kernelSet) code(parts runs) float64 {
	sum := 0.0
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		v := lookUp(k.Code, name)
		sum += float64(parts[name] * v)
	}
	return sum
}

// withoutInside is the kernel of a routine that is called, for one that stands in its caller.
func withoutInside(kernel string) string { return strings.Replace(kernel, "_inside", "", 1) }

// lookUp looks up a kernel or part of the code. Where the measured networks have none of that name,
// the one that is most like it stands in: the routine called instead of inside or the other way
// round, the loop over outputs instead of one that is written out; and where a correction was not
// seen, nothing. It panics if there is none.
func lookUp[V any](of map[string]V, name string) V {
	if v, ok := of[name]; ok {
		return v
	}
	plain := strings.NewReplacer("_one", "", "_two", "").Replace(name)
	for _, n := range []string{withoutInside(name), plain, withoutInside(plain),
		inside.ReplaceAllString(plain, "${1}_inside")} {
		if v, ok := of[n]; ok {
			return v
		}
	}
	if correction.MatchString(name) {
		var nothing V
		return nothing
	}
	panic(fmt.Sprintf("cost: no kernel %q", name))
}

// correction matches kernels that change others a little: what the last columns, a single row or
// group, a loop over hundreds of columns, near memory and a limit make of them.
var correction = regexp.MustCompile(`_(rest|one|near)$|^(single|left_|limit_|uses_|loop|round)`)

// inside finds the routines that may stand in their callers.
var inside = regexp.MustCompile(`(row\d+|sum|c2_16|c4_4)`)

// figure looks a figure up. It panics if there is none.
func figure(of map[string]int, name string) int {
	v, ok := of[name]
	if !ok {
		panic(fmt.Sprintf("cost: kernels.toml has no figure %q", name))
	}
	return v
}
