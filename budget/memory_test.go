package budget

import (
	"math"
	"testing"

	"kerf/prune"
)

// What flash adds is a part of its own, and the parts sum up to the total. With the weights in RAM
// they take RAM, and reading them does not wait.
func TestFlashWait(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 1e6, FlashWait: &WaitRule{Data: 2}})
	whole := in.Whole(small)
	costs := in.Costs(whole)
	sum := 0.0
	for _, c := range costs {
		if c.Resource == Cycles && c.Part != Total {
			sum += c.Value
		}
	}
	// Every weight is read once in a step, also those that fill groups: 3 groups of 2 tiles of 8
	// weights twice, one group of 2 tiles; with them 4 biases and 4 shifts for each of 7 groups,
	// and 2 nodes of the table for each of 3 gates of 3 units: 186. Constants beside the code come
	// on top.
	wait := find(t, costs, Cycles, "flash_wait").Value
	if total := find(t, costs, Cycles, Total).Value; math.Abs(total-sum) > 1e-9 || wait < 2*186 ||
		wait > 2*186+20 {
		t.Errorf("parts sum to %g of %g, flash adds %g", sum, total, wait)
	}
	places := in.Placements(whole)
	if len(places) != 3 || places[0].Resource != RAM || places[1].Resource != Cycles {
		t.Fatalf("places are %+v", places)
	}
	if ram := places[0]; ram.Chosen != "flash" || ram.InRAM-ram.InFlash !=
		find(t, costs, Flash, "weights").Value+find(t, costs, Flash, "tables").Value {
		t.Errorf("RAM: %+v", ram)
	}
	if cycles := places[1]; math.Abs(cycles.InFlash-cycles.InRAM-wait) > 1e-9 {
		t.Errorf("the weights in RAM save %g cycles, flash adds %g", cycles.InFlash-cycles.InRAM,
			wait)
	}
	in.Targets[0].WeightsIn = inRAM
	if got := find(t, in.Costs(whole), RAM, "weights").Value; got !=
		find(t, costs, Flash, "weights").Value {
		t.Errorf("weights take %g B of RAM", got)
	}
}

func TestPlacementsWhereItDoesNotMatter(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 1e6})
	if places := in.Placements(in.Whole(small)); len(places) != 0 {
		t.Errorf("without wait states cortex-m3 reads flash as fast as RAM, but places are %+v",
			places)
	}
}

// Without the features of group one its 1000 B, 100 B and 500 cycles are free.
func TestFreed(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 1e6})
	in.Job.Formats = FormatRule{Weights: "int16"}
	cut := in.Whole(small)
	cut.Features = prune.Without(4, 1, 2)
	rows := in.Freed(cut)
	if len(rows) != 4 || rows[0] != (Freed{"cortex-m3", FreedFrontEnd, "one", 1000, 100, 500}) {
		t.Fatalf("freed are %+v", rows)
	}
	var sum Freed
	for _, f := range rows[:3] {
		sum.Flash += f.Flash
		sum.RAM += f.RAM
		sum.Cycles += f.Cycles
	}
	total := rows[3]
	if total.By != Total || sum.Flash != total.Flash || sum.RAM != total.RAM ||
		math.Abs(sum.Cycles-total.Cycles) > 1e-9 {
		t.Errorf("parts sum to %+v, total %+v", sum, total)
	}
	// Two of four int8 inputs less are a tile of 8 B in each of 3 groups; RAM has nothing to do
	// with inputs.
	if rows[1].By != FreedCut || rows[1].Flash < 24 || rows[1].RAM != 0 || rows[1].Cycles <= 0 {
		t.Errorf("features and units free %+v", rows[1])
	}
	// Nothing is narrower than what is narrow: words free 4 of the 12 B of a 32-bit state, and the
	// other half of the weights: 8 B of each of 3 tiles of inputs and 6 of states. The
	// code for int8 is another one.
	if rows[2].By != FreedWords || rows[2].RAM != 4 || rows[2].Flash < 72 {
		t.Errorf("words free %+v", rows[2])
	}
}
