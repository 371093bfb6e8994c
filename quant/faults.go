package quant

import (
	"context"

	"kerf/dataset"
)

// Fault is what a feature shows that no longer follows what it is computed from.
type Fault string

// The faults that are tried.
const (
	Stuck   Fault = "stuck"   // the value of the step before
	Lowest  Fault = "lowest"  // the lowest integer that name_step takes
	Highest Fault = "highest" // the highest integer
	AtMean  Fault = "mean"    // the mean, which name_encode makes of what is no number
)

// EveryFault lists the faults in the order of reports.
var EveryFault = []Fault{Stuck, Lowest, Highest, AtMean}

// FaultyFeature is one fault of one kept feature.
type FaultyFeature struct {
	Feature int // index among the kept features
	Fault   Fault
}

// at returns the integer that the feature shows from a step on; x are the integers of the step
// before.
func (f FaultyFeature) at(x []int32) int32 {
	switch f.Fault {
	case Stuck:
		return x[f.Feature]
	case Lowest:
		return minInt16
	case Highest:
		return maxInt16
	}
	return 0
}

// FaultValue returns what a fault of a feature is in its physical unit; false for a stuck one,
// which shows another value in every sequence.
func (n *Network) FaultValue(f FaultyFeature) (physical float64, isFixed bool) {
	feature := n.Features[f.Feature]
	switch f.Fault {
	case Lowest, Highest:
		x := float64(f.at(nil)) / scale(n.InputFraction)
		return feature.Mean + float64(x*feature.Std), true
	case AtMean:
		return feature.Mean, true
	}
	return 0, false
}

// FirstFaulty returns the step at which faults of a sequence begin: half of its steps are sound.
func FirstFaulty(s *dataset.Sequence) int { return s.Steps / 2 }

// faultWork bounds the multiply-accumulates of one search for the effect of faults, some seconds on
// one core: where more would be needed, fewer sequences are tried. Our choice.
const faultWork = 4e10

// FaultSequences returns the indices of the sequences that [Network.RunFaulty] is worth running on,
// spread evenly over the recordings: all that have a sound step, or as many as faultWork allows.
func (n *Network) FaultSequences(rec *dataset.Recordings) []int {
	var all []int
	steps := 0
	for i, s := range rec.Sequences {
		if FirstFaulty(s) > 0 {
			all = append(all, i)
			steps += s.Steps
		}
	}
	runs := float64(len(n.Features)*len(EveryFault)+2) / 2
	work := float64(steps) * runs * float64(n.Shape().MultiplyAccumulates())
	if work <= faultWork {
		return all
	}
	some := make([]int, max(1, int(float64(len(all))*faultWork/work)))
	for k := range some {
		some[k] = all[k*len(all)/len(some)]
	}
	return some
}

// RunFaulty runs a sequence up to half of it, and from there once without a fault and once with
// each of the given ones. It calls after for every step from there on, with the index of the fault,
// -1 for none, and the outputs, which hold until after returns. The error is that of ctx.
func (n *Network) RunFaulty(ctx context.Context, s *dataset.Sequence, faults []FaultyFeature,
	after func(fault, step int, y []int32)) error {
	first, features := FirstFaulty(s), len(n.Features)
	all := make([]int32, s.Steps*features)
	encoder := n.newEncoder()
	for step := range s.Steps {
		encoder.encode(s, step, all[step*features:(step+1)*features])
	}
	runs := []faultyRun{{fault: -1}}
	for i, f := range faults {
		runs = append(runs, faultyRun{i, f.Feature,
			f.at(all[(first-1)*features : first*features])})
	}
	if useLanes {
		return n.runFaultyLanes(ctx, all, first, runs, after)
	}
	start, x := n.NewState(), make([]int32, features)
	y := make([]int32, len(n.Outputs))
	for step := range first {
		n.Step(start, all[step*features:(step+1)*features], y)
	}
	for _, run := range runs {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		state := start.clone()
		for step := first; step < s.Steps; step++ {
			run.put(x, all[step*features:(step+1)*features])
			n.Step(state, x, y)
			after(run.fault, step, y)
		}
	}
	return nil
}

// faultyRun is a run with one feature that shows one integer.
type faultyRun struct {
	fault   int // -1: none
	feature int
	x       int32
}

// put sets x to the features of a step as the run has them.
func (r *faultyRun) put(x, recorded []int32) {
	copy(x, recorded)
	if r.fault >= 0 {
		x[r.feature] = r.x
	}
}
