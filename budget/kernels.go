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
		sum += float64(counts[class] * p.Cycles(class))
	}
	return sum
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

// fewUnits is the number of units up to which the compiler copies a state without a loop.
const fewUnits = 5

// codeParts counts what the code of a network is made of.
func codeParts(s quant.Shape) map[string]int {
	parts := map[string]int{"base": 1, "dense": len(s.Dense) - 1}
	uses := map[int]int{} // by width of the weights
	for i, l := range s.Layers {
		f := s.Formats.Layers[i]
		parts[layerKey(l.Kind, f.StateBits)]++
		uses[f.InputBits]++
		uses[f.RecurrentBits]++
		if l.Units <= fewUnits {
			parts["few_units"]++
		}
	}
	for i, d := range s.Dense {
		uses[s.Formats.Dense[i]]++
		if usesTable(d.Activation) {
			parts["table_row"]++
		}
	}
	if s.Dense[len(s.Dense)-1].Outputs == 1 {
		parts["one_output"]++
	}
	if s.UsesTable() {
		parts["table"]++
	}
	for bits, n := range uses {
		parts[fmt.Sprintf("w%d", bits)]++
		parts[fmt.Sprintf("w%d_more", bits)] += n - 1
	}
	return parts
}

// codeBytes estimates the code of the inference in bytes, without weights and
// tables.
func (k *kernelSet) codeBytes(s quant.Shape) int {
	size := 0
	for name, n := range codeParts(s) {
		if n != 0 {
			size += n * figure(k.Code, name)
		}
	}
	return size
}

// stackBytes bounds the stack of a step in bytes: the arrays of net_step (16-bit
// views of wide states, results between dense layers), those of the layer that has
// the largest (new state; of a reset-before GRU the scaled state and a gate), and
// what the deepest calls take above them.
func (k *kernelSet) stackBytes(s quant.Shape) int {
	const frameAlign = 8 // of the stack of arm and rv32
	int16s := func(n int) int { return (2*n + frameAlign - 1) / frameAlign * frameAlign }
	shared, layer, calls := 0, 0, 0
	for i, l := range s.Layers {
		bits := s.Formats.Layers[i].StateBits
		isGRU := l.Kind == model.GRUResetAfter || l.Kind == model.GRUResetBefore
		if isGRU && bits == 32 {
			shared += int16s(l.Units)
		}
		switch {
		case l.Kind == model.GRUResetBefore:
			layer = max(layer, int16s(2*l.Units))
		case !isGRU || bits == 16:
			layer = max(layer, int16s(l.Units))
		}
		calls = max(calls, figure(k.Stack, layerKey(l.Kind, bits)))
	}
	for _, d := range s.Dense[:len(s.Dense)-1] {
		shared += int16s(d.Outputs)
	}
	return shared + layer + calls + (len(s.Layers)-1)*figure(k.Stack, "more_layers")
}

// figure looks a figure up. It panics if there is none.
func figure(of map[string]int, name string) int {
	v, ok := of[name]
	if !ok {
		panic(fmt.Sprintf("budget: kernels.toml has no figure %q", name))
	}
	return v
}
