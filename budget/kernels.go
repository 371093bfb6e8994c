package budget

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"sync"

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
	Code   codeSize                      `toml:"code_bytes"`
	Stack  stackBase                     `toml:"stack_base"`
}

// codeSize is the size of the inference in bytes: that of int8 weights and an
// int16 state, and what wider formats add to it (below zero: they save code).
type codeSize struct {
	Base        int `toml:"base"`
	Input16     int `toml:"input16"`     // int16 input weights
	Recurrent16 int `toml:"recurrent16"` // int16 recurrent weights
	Head16      int `toml:"head16"`      // int16 head weights
	State32     int `toml:"state32"`     // int32 state
}

// stackBase is the deepest stack of a step in bytes, without the copy of the
// state, by width of the state.
type stackBase struct {
	State16 int `toml:"state16"`
	State32 int `toml:"state32"`
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
		sum += counts[class] * p.Cycles(class)
	}
	return sum
}

// codeBytes estimates the code of the inference in bytes, without weights and
// tables, for word widths in bits: weights 8 or 16, state 16 or 32.
func (k *kernelSet) codeBytes(inputBits, recurrentBits, headBits, stateBits int) int {
	size := k.Code.Base
	if inputBits == 16 {
		size += k.Code.Input16
	}
	if recurrentBits == 16 {
		size += k.Code.Recurrent16
	}
	if headBits == 16 {
		size += k.Code.Head16
	}
	if stateBits == 32 {
		size += k.Code.State32
	}
	return size
}

// stackBytes bounds the stack of a step in bytes, including all that it calls,
// for a state of 16 or 32 bits. Either way one int16 copy of the state is kept
// there; it fills whole units of frameAlign bytes.
func (k *kernelSet) stackBytes(stateBits, units int) int {
	// Of the Arm procedure call standard. What the 16 bytes of RISC-V add is in the base.
	const frameAlign = 8
	base := k.Stack.State16
	if stateBits == 32 {
		base = k.Stack.State32
	}
	return base + (2*units+frameAlign-1)/frameAlign*frameAlign
}
