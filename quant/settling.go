package quant

import (
	"math"
	"slices"

	"kerf/dataset"
)

// settlingStates is how many recorded end states a settling network starts from, beside the zero
// state (our choice).
const settlingStates = 20

// settlingWork bounds the multiply-accumulates of one search for the settling, some seconds on one
// core: where more would be needed, fewer end states are tried.
const settlingWork = 4e10

// Settling says after how many steps a network has forgotten the state that it began with.
type Settling struct {
	Steps   int  // the smallest number after which no sequence exceeds a bound up to its end
	Reached bool // false: some sequence exceeds a bound at its last step, or too near to it to tell
	States  int  // end states that were tried
}

// Settle runs every sequence from the zero state and from recorded end states of other sequences,
// and compares the outputs. bounds has, per output and in its physical unit, the least difference
// that does not count as settled; an output whose bound is infinite is not looked at. For a
// classifier the class must be the same, whatever the bounds. A sequence that settles in its last
// tenth leaves too few steps to call it settled. A sequence that ends before the others settle says
// nothing.
func (n *Network) Settle(rec *dataset.Recordings, bounds []float64) Settling {
	ends := n.endStates(rec)
	type found struct {
		steps   int
		reached bool
	}
	all := make([]found, len(rec.Sequences))
	dataset.EachSequence(rec, func(i int, s *dataset.Sequence) {
		steps := 0
		states := []*State{n.NewState()}
		for _, e := range ends {
			if e.sequence != s || len(rec.Sequences) == 1 {
				states = append(states, e.state.clone())
			}
		}
		n.alongside(s, states, bounds, func(step int) { steps = step + 1 })
		all[i] = found{steps, steps <= s.Steps-max(1, s.Steps/10)}
	})
	result := Settling{Reached: true, States: len(ends)}
	for _, f := range all {
		if f.reached {
			result.Steps = max(result.Steps, f.steps)
		}
	}
	settled := result.Steps // a sequence that ends by then says nothing
	for i, s := range rec.Sequences {
		if f := all[i]; !f.reached && s.Steps > settled {
			result.Steps, result.Reached = max(result.Steps, f.steps), false
		}
	}
	return result
}

// endState is the state after the last step of a sequence.
type endState struct {
	sequence *dataset.Sequence
	state    *State
}

// endStates returns the end states of sequences spread evenly over the recordings.
func (n *Network) endStates(rec *dataset.Recordings) []endState {
	work := float64(rec.Steps()) * float64(n.Shape().MultiplyAccumulates())
	count := int(max(2, min(settlingStates, float64(len(rec.Sequences)), settlingWork/work)))
	count = min(count, len(rec.Sequences))
	ends := make([]endState, count)
	dataset.InParallel(count, func(i int) {
		s := rec.Sequences[i*len(rec.Sequences)/count]
		ends[i] = endState{s, n.NewState()}
		n.run(s, ends[i].state, make([]float64, s.Steps*len(n.Outputs)))
	})
	return ends
}

// alongside runs a sequence from several states at once. It calls apart at every step at which the
// outputs from any other state differ from those of the first state by a bound. A state that has
// become equal to the first is left out from then on.
func (n *Network) alongside(s *dataset.Sequence, states []*State, bounds []float64,
	apart func(step int)) {
	x := make([]int32, len(n.Features))
	first, other := make([]int32, len(n.Outputs)), make([]int32, len(n.Outputs))
	physical := make([][]float64, 2)
	for k := range physical {
		physical[k] = make([]float64, len(n.Outputs))
	}
	encoder := n.newEncoder()
	for step := 0; step < s.Steps && len(states) > 1; step++ {
		encoder.encode(s, step, x)
		n.Step(states[0], x, first)
		n.Decode(first, physical[0])
		exceeded := false
		for _, state := range states[1:] {
			n.Step(state, x, other)
			n.Decode(other, physical[1])
			exceeded = exceeded || n.differ(first, other, physical, bounds)
		}
		if exceeded {
			apart(step)
		}
		states = append(states[:1], slices.DeleteFunc(states[1:], states[0].equal)...)
	}
}

// differ reports whether two outputs differ by a bound, or in their class. first and other are the
// integers, physical holds both in physical units.
func (n *Network) differ(first, other []int32, physical [][]float64, bounds []float64) bool {
	if n.Classes {
		return Class(first) != Class(other)
	}
	for o, bound := range bounds {
		if math.Abs(physical[1][o]-physical[0][o]) >= bound {
			return true
		}
	}
	return false
}

// clone copies a state, counts left out.
func (s *State) clone() *State {
	c := &State{}
	for _, l := range s.layers {
		c.layers = append(c.layers, &layerState{h: slices.Clone(l.h), c: slices.Clone(l.c),
			view: slices.Clone(l.view), next: slices.Clone(l.next), in: slices.Clone(l.in),
			re: slices.Clone(l.re)})
	}
	for _, d := range s.dense {
		c.dense = append(c.dense, slices.Clone(d))
	}
	return c
}

// equal reports whether two states give the same outputs from here on.
func (s *State) equal(t *State) bool {
	for i, l := range s.layers {
		m := t.layers[i]
		if !slices.Equal(l.h, m.h) || !slices.Equal(l.c, m.c) || !slices.Equal(l.view, m.view) {
			return false
		}
	}
	return true
}
