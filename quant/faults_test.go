package quant

import (
	"context"
	"errors"
	"math"
	"reflect"
	"slices"
	"testing"

	"kerf/dataset"
)

// faultsOf lists every fault of every kept feature.
func faultsOf(n *Network) []FaultyFeature {
	var all []FaultyFeature
	for i := range n.Features {
		for _, f := range EveryFault {
			all = append(all, FaultyFeature{i, f})
		}
	}
	return all
}

// A feature at fault gives what recordings give in which it is so from half of a sequence on: the
// value of the step before, values beyond what the format holds, and no number, which becomes the
// mean. Steps before that are those without a fault. Of every kind of network, and of a sequence of
// an odd number of steps.
func TestFaultsAreThoseOfChangedRecordings(t *testing.T) {
	for i, stack := range everyStack() {
		p := layered(uint64(i), stack.Kinds, stack.Activations)
		p.Kept = []int{4, 1, 0, 5, 2} // odd, and out of order
		narrowInput(p.Net.Recurrent[0], len(p.Kept))
		rec := RandomRecordings(uint64(i), p, 1, 31)
		rec.Features = 6
		s := rec.Sequences[0]
		n, err := Quantize(p, Calibrate(p, rec), Uniform(p.Net, 8, 8, 32), Nearest)
		if err != nil {
			t.Fatal(err)
		}
		faults := faultsOf(n)
		got := map[[2]int][]int32{}
		if err := n.RunFaulty(t.Context(), s, faults, func(fault, step int, y []int32) {
			got[[2]int{fault, step}] = slices.Clone(y)
		}); err != nil {
			t.Fatal(err)
		}
		want := map[[2]int][]int32{}
		for k := -1; k < len(faults); k++ {
			changed := *s
			changed.X = slices.Clone(s.X)
			for step := 15; step < 31 && k >= 0; step++ {
				column := p.Kept[faults[k].Feature]
				changed.X[step*6+column] = map[Fault]float64{Stuck: s.X[14*6+column], Lowest: -1e30,
					Highest: 1e30, AtMean: math.NaN()}[faults[k].Fault]
			}
			n.visitOne(&changed, func(step int, _, y []int32) {
				if step >= 15 {
					want[[2]int{k, step}] = slices.Clone(y)
				}
			})
		}
		if len(want) != 16*21 || !reflect.DeepEqual(got, want) {
			t.Fatalf("%v %v: other outputs than of changed recordings", stack.Kinds,
				stack.Activations)
		}
	}
}

// The value of a fault is what the integer stands for, and the cut-off of the work leaves whole
// sequences, of which one has no sound step.
func TestValuesAndSequencesOfFaults(t *testing.T) {
	p := RandomFloat(1, 3, 4, 1)
	rec := RandomRecordings(1, p, 6, 40)
	n, err := Quantize(p, Calibrate(p, rec), Uniform(p.Net, 8, 8, 16), Nearest)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range faultsOf(n) {
		value, isFixed := n.FaultValue(f)
		if isFixed == (f.Fault == Stuck) {
			t.Fatalf("%+v: fixed %v", f, isFixed)
		}
		row, x := []float64{0, 0, 0}, make([]int32, 3)
		if row[f.Feature] = value; isFixed {
			if n.Encode(row, x); x[f.Feature] != f.at(nil) {
				t.Errorf("%+v: %g is %d, want %d", f, value, x[f.Feature], f.at(nil))
			}
		}
	}
	rec.Sequences[2] = RandomRecordings(1, p, 1, 1).Sequences[0]
	if got := n.FaultSequences(rec); !slices.Equal(got, []int{0, 1, 3, 4, 5}) {
		t.Errorf("sequences %v", got)
	}
	long := &dataset.Recordings{Features: 3, Outputs: 1}
	for range 10 {
		long.Sequences = append(long.Sequences, &dataset.Sequence{Steps: 1e8})
	}
	if got := n.FaultSequences(long); len(got) >= 10 || len(got) == 0 || got[0] != 0 {
		t.Errorf("of long sequences %v", got)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := n.RunFaulty(ended, rec.Sequences[0], faultsOf(n), func(int, int, []int32) {
		t.Error("a step after the end")
	}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}
