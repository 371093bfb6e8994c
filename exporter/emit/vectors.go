package emit

import (
	"slices"
	"sort"

	"kerf/dataset"
	"kerf/quant"
)

// VectorStep is one step of the self-test: integers in, integers out.
type VectorStep struct {
	Reset bool // the state is set to zero before this step
	X, Y  []int32
}

const (
	// leastLong is how many steps the long sequence has at least, and longCompared how many outputs
	// at its end are compared. Our choice.
	leastLong    = 512
	longCompared = 8
	// mostLong bounds it where the network forgets slowly: a board runs it in the self-test.
	mostLong = 1 << 14
	// segmentSteps is the number of steps from a reset to the next.
	segmentSteps = 24
	// extremeWindows is the number of recorded windows around the largest inputs, and the number
	// around the largest outputs.
	extremeWindows = 2
)

// Vectors returns the steps of the self-test with the outputs of net: the start of the first
// sequence of every scenario, windows around the most extreme recorded inputs and outputs, then
// inputs at the ends of the int16 range.
func Vectors(net *quant.Network, rec *dataset.Recordings) []VectorStep {
	var steps []VectorStep
	state := net.NewState()
	run := func(inputs [][]int32) {
		state.Reset()
		for i, x := range inputs {
			y := make([]int32, len(net.Outputs))
			net.Step(state, x, y)
			steps = append(steps, VectorStep{Reset: i == 0, X: x, Y: y})
		}
	}
	seen := map[string]bool{}
	for _, s := range rec.Sequences {
		if !seen[s.Scenario] {
			seen[s.Scenario] = true
			run(encoded(net, s, 0))
		}
	}
	for _, w := range extremes(net, rec) {
		run(encoded(net, w.sequence, w.from))
	}
	run(limits(len(net.Features)))
	return steps
}

// longSequence returns the long sequence of the self-test, which shows that states stay equal: the
// inputs of all its steps over and over, from one reset on, so many steps, and the last outputs. It
// is twice as long as the network takes to forget its first state, where that is known.
func (p *Program) longSequence() (steps int, y [][]int32) {
	steps = leastLong
	if p.SettleSteps != nil {
		steps = min(max(steps, 2**p.SettleSteps), mostLong)
	}
	state, out := p.Net.NewState(), make([]int32, len(p.Net.Outputs))
	for step := range steps {
		p.Net.Step(state, p.Vectors[step%len(p.Vectors)].X, out)
		if step >= steps-longCompared {
			y = append(y, slices.Clone(out))
		}
	}
	return steps, y
}

// encoded returns up to segmentSteps recorded inputs from a step on, as integers.
func encoded(net *quant.Network, s *dataset.Sequence, from int) [][]int32 {
	var inputs [][]int32
	for step := from; step < min(from+segmentSteps, s.Steps); step++ {
		x := make([]int32, len(net.Features))
		net.EncodeStep(s, step, x)
		inputs = append(inputs, x)
	}
	return inputs
}

// window is a run of recorded steps.
type window struct {
	sequence *dataset.Sequence
	from     int     // its first step
	size     float64 // of the extreme for which it was picked
}

// extremes returns the windows whose middle holds the largest encoded inputs and the reference
// outputs farthest from their mean, in units of their standard deviation: extremeWindows of each,
// from different sequences.
func extremes(net *quant.Network, rec *dataset.Recordings) []window {
	var inputs, outputs []window
	for _, s := range rec.Sequences {
		topIn, topOut := window{sequence: s, size: -1}, window{sequence: s, size: -1}
		x := make([]int32, len(net.Features))
		for step := range s.Steps {
			net.EncodeStep(s, step, x)
			for _, v := range x {
				topIn = larger(topIn, window{s, step, float64(max(v, -v))})
			}
			for o, out := range net.Outputs {
				deviation := (s.Y[step*len(net.Outputs)+o] - out.Mean) / out.Std
				topOut = larger(topOut, window{s, step, max(deviation, -deviation)})
			}
		}
		inputs, outputs = append(inputs, topIn), append(outputs, topOut)
	}
	var chosen []window
	for _, group := range [][]window{inputs, outputs} {
		sort.SliceStable(group, func(a, b int) bool { return group[a].size > group[b].size })
		for _, w := range group[:min(extremeWindows, len(group))] {
			w.from = max(0, w.from-segmentSteps/2)
			chosen = append(chosen, w)
		}
	}
	return chosen
}

// larger returns the window of larger size, the first of two of the same size.
func larger(a, b window) window {
	if b.size > a.size {
		return b
	}
	return a
}

// limits returns inputs at the ends of the int16 range, together and alternating.
func limits(features int) [][]int32 {
	var inputs [][]int32
	for step := range segmentSteps {
		x := make([]int32, features)
		for i := range x {
			high := step%2 == 0
			if step >= segmentSteps/2 {
				high = (i+step)%2 == 0
			}
			x[i] = -32768
			if high {
				x[i] = 32767
			}
		}
		inputs = append(inputs, x)
	}
	return inputs
}
