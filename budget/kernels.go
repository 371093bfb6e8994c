package budget

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"sync"

	"kerf/model"
	"kerf/quant"
	"kerf/targets"
)

// kernelsFile holds what was measured on the emitted C; its head says how.
//
//go:embed kernels.toml
var kernelsFile []byte

// kernelSet is what the emitted C takes on one instruction set: a table of
// kernels.toml.
type kernelSet struct {
	Compiler string `toml:"compiler"` // with version and flags
	Counted  string `toml:"counted"`  // what the counts come from
	// Kernel holds, by kernel and instruction class, how many instructions
	// one run of the kernel executes.
	Kernel map[string]map[string]float64 `toml:"kernel"`
	Code   map[string]int                `toml:"code_bytes"`  // by part of the code; below zero: the part saves code
	Stack  map[string]int                `toml:"stack_bytes"` // by kind of layer, and more_layers for each beyond the first
}

// kernelSets reads kernels.toml, once. It panics on a mistake in it.
var kernelSets = sync.OnceValue(func() map[string]*kernelSet {
	sets := map[string]*kernelSet{}
	if err := targets.StrictDecode(kernelsFile, "kernels.toml", &sets); err != nil {
		panic(fmt.Sprintf("budget: %v", err))
	}
	return sets
})

// kernelsFor returns the kernels of an instruction set, named as in
// targets.Profile.ISA. It panics if there is none: profiles with other
// instruction sets are refused when they are read.
func kernelsFor(isa string) *kernelSet {
	set, ok := kernelSets()[isa]
	if !ok {
		panic(fmt.Sprintf("budget: no kernels for instruction set %q", isa))
	}
	return set
}

// simulated is the class of cycles that a simulator counted.
const simulated = "cycle"

// cycles estimates one run of a kernel on a core, in cycles: instructions of
// each class times cycles of the class. It panics on an unknown kernel.
func (k *kernelSet) cycles(kernel string, p *targets.Profile) float64 {
	counts, ok := k.Kernel[kernel]
	if !ok {
		panic(fmt.Sprintf("budget: no kernel %q", kernel))
	}
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

// LayerKey names the kind of a recurrent layer and the width of its state, as kernels.toml does.
func LayerKey(s quant.Shape, layer int) string {
	return layerKey(s.Layers[layer].Kind, s.Formats.Layers[layer].StateBits)
}

// usesTable tells whether an activation reads the tanh table.
func usesTable(a model.Activation) bool { return a == model.Tanh || a == model.Logistic }

// codeBytes estimates the code of the inference in bytes, without weights and
// tables.
func (k *kernelSet) codeBytes(s quant.Shape, isa string) int {
	size := 0
	_, parts := stepRuns(s, isa)
	for name, n := range parts {
		size += int(n) * figure(k.Code, name)
	}
	return max(size, 0)
}

// stackBytes bounds the stack of a step in bytes: its arrays, and what the deepest calls take above them.
func (k *kernelSet) stackBytes(s quant.Shape) int {
	calls := 0
	for i := range s.Layers {
		calls = max(calls, figure(k.Stack, LayerKey(s, i)))
	}
	return StackArrays(s) + calls + (len(s.Layers)-1)*figure(k.Stack, "more_layers")
}

// figure looks a figure up. It panics if there is none.
func figure(of map[string]int, name string) int {
	v, ok := of[name]
	if !ok {
		panic(fmt.Sprintf("budget: kernels.toml has no figure %q", name))
	}
	return v
}
