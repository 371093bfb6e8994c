package cost

import (
	"math"

	"kerf/quant"
	"kerf/targets"
)

// Estimate is what a network is expected to take on a core. Bytes of weights, tables and state are
// exact and come from [quant.Shape].
type Estimate struct {
	Cycles []Part // of a step, in the order of the network
	Code   int    // bytes of the inference, without weights and tables
	Stack  int    // bytes of a step, a bound
}

// Part is an addend of the cycles of a step.
type Part struct {
	Name   string // layer and purpose, or FlashWait
	Cycles float64
}

// FlashWait names the part that waiting for flash adds to the cycles of a step. It is the last one,
// where flash adds anything.
const FlashWait = "flash_wait"

// Total returns the cycles of a step.
func (e Estimate) Total() float64 {
	sum := 0.0
	for _, p := range e.Cycles {
		sum += p.Cycles
	}
	return sum
}

// Of estimates what a network takes on a core. wait is what flash adds to the instructions of the
// core; with the weights in RAM their loads do not wait. No part of the cycles is below 0, where
// fitted kernels lead for tiny layers and for cores that are unlike those of package targets. It
// panics on an instruction set without kernels, which no profile has, and on a form that it has
// not, see [HasSmall].
func Of(s quant.Shape, core *targets.Profile, wait targets.FlashWait, inRAM bool,
	form Form) Estimate {
	k := kernelsFor(core.ISA, form)
	c := newCounter(s, core.ISA, form)
	all := c.functions()
	e := Estimate{Cycles: k.parts(all, core.WithMemory(targets.FlashWait{}, inRAM)),
		Stack: k.stackBytes(all, core.ISA)}
	if wait.Fetch+wait.Jump+wait.Data > 0 {
		added := 0.0
		for i, p := range k.parts(all, core.WithMemory(wait, inRAM)) {
			added += p.Cycles - e.Cycles[i].Cycles
		}
		if !inRAM {
			for _, f := range all {
				added += float64(float64(f.flashReads) * wait.Data)
			}
		}
		e.Cycles = append(e.Cycles, Part{FlashWait, added})
	}
	for i := range e.Cycles {
		e.Cycles[i].Cycles = max(e.Cycles[i].Cycles, 0)
	}
	code := k.codeBytes(c.shared())
	for _, f := range all {
		code += k.codeBytes(f.code)
	}
	e.Code = int(math.Round(max(code, 0)))
	return e
}

// parts adds up the cycles of functions by part, in their order. Parts may be below 0.
func (k *kernelSet) parts(all []function, core *targets.Profile) []Part {
	var parts []Part
	for _, f := range all {
		if n := len(parts); n == 0 || parts[n-1].Name != f.part {
			parts = append(parts, Part{Name: f.part})
		}
		of := &parts[len(parts)-1]
		for _, run := range f.time.byName() {
			of.Cycles += float64(run.n * k.cycles(run.kernel, core))
		}
	}
	return parts
}

// stepCycles returns the cycles of a step on a core without flash wait states, as the kernels give
// them: linear in the costs of the core, and not kept from falling below 0.
func stepCycles(s quant.Shape, core *targets.Profile, form Form) float64 {
	sum := 0.0
	for _, p := range kernelsFor(core.ISA, form).parts(newCounter(s, core.ISA, form).functions(),
		core) {
		sum += p.Cycles
	}
	return sum
}
