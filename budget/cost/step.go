package cost

import (
	"maps"
	"slices"

	"kerf/quant"
	"kerf/targets"
)

// Part is an addend of the cycles of a step.
type Part struct {
	Name   string // layer and purpose, or FlashWait
	Cycles float64
}

// FlashWaitPart names the part that waiting for flash adds to the cycles of a step.
const FlashWait = "flash_wait"

// stepCycles estimates the cycles of one step on a core by layer and purpose, in the order of the
// network. wait is what flash adds to every instruction; with the weights in RAM their loads do not
// wait. The last part, where flash adds anything, is [FlashWaitPart]. No part is below 0, where the
// fitted kernels lead for tiny layers and for cores that are unlike those of package targets.
func StepCycles(s quant.Shape, core *targets.Profile, wait targets.FlashWait, inRAM bool) []Part {
	parts := cycleParts(s, core.WithMemory(targets.FlashWait{}, inRAM))
	if wait.Fetch+wait.Jump+wait.Data > 0 {
		added := 0.0
		for i, p := range cycleParts(s, core.WithMemory(wait, inRAM)) {
			added += p.Cycles - parts[i].Cycles
		}
		if !inRAM {
			own, _ := functions(s, core.ISA)
			for _, f := range own {
				added += float64(f.time[flashRead] * wait.Data)
			}
		}
		parts = append(parts, Part{FlashWait, added})
	}
	for i := range parts {
		parts[i].Cycles = max(parts[i].Cycles, 0)
	}
	return parts
}

// cycleParts adds up the kernels that the emitted C runs in one step, by layer and purpose, in the
// order of the network.
func cycleParts(s quant.Shape, core *targets.Profile) []Part {
	k := kernelsFor(core.ISA)
	var parts []Part
	own, _ := functions(s, core.ISA)
	for _, f := range own {
		i := slices.IndexFunc(parts, func(p Part) bool { return p.Name == f.part })
		if i < 0 {
			i = len(parts)
			parts = append(parts, Part{f.part, 0})
		}
		// in a fixed order, the rounding is the same in each run
		for _, kernel := range slices.Sorted(maps.Keys(f.time)) {
			if kernel != flashRead {
				parts[i].Cycles += float64(f.time[kernel] * k.cycles(kernel, core))
			}
		}
	}
	return parts
}
