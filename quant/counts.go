package quant

import (
	"kerf/dataset"
)

// Counts says how often values left their range inside the integer network, over recordings.
type Counts struct {
	Steps  int            // of all sequences
	Inputs int            // feature values beyond the range of the input format
	Layers []*LayerCounts // per recurrent layer
}

// LayerCounts has the counts of one recurrent layer.
type LayerCounts struct {
	Gates int // pre-activation parts at the end of their range
	Cells int // LSTM cells at the end of their range
	// Stalled has, per unit of a GRU, the steps on which rounding held a state that should have
	// moved.
	Stalled []int
	Low     []int32 // per unit: least output, with the OutputFraction of the layer
	High    []int32 // per unit: largest output
	AtEnd   []int   // per unit: steps on which the output stood at an end of its range
}

// newCounts returns counts of no step yet.
func (n *Network) newCounts() *Counts {
	c := &Counts{}
	for _, l := range n.Layers {
		layer := &LayerCounts{Stalled: make([]int, l.Units), AtEnd: make([]int, l.Units),
			Low: make([]int32, l.Units), High: make([]int32, l.Units)}
		for j := range layer.Low {
			layer.Low[j], layer.High[j] = maxInt16, minInt16
		}
		c.Layers = append(c.Layers, layer)
	}
	return c
}

// Count runs the integer network over recordings, every sequence from the zero state, and counts.
func (n *Network) Count(rec *dataset.Recordings) *Counts {
	parts := make([]*Counts, len(rec.Sequences))
	dataset.EachSequence(rec, func(i int, s *dataset.Sequence) {
		state := n.NewState()
		state.Counts = n.newCounts()
		state.Counts.Inputs = n.run(s, state, make([]float64, s.Steps*len(n.Outputs)))
		state.Counts.Steps = s.Steps
		parts[i] = state.Counts
	})
	total := n.newCounts()
	for _, c := range parts {
		total.Steps += c.Steps
		total.Inputs += c.Inputs
		for i, l := range c.Layers {
			t := total.Layers[i]
			t.Gates += l.Gates
			t.Cells += l.Cells
			for j, steps := range l.Stalled {
				t.Stalled[j] += steps
				t.AtEnd[j] += l.AtEnd[j]
				t.Low[j], t.High[j] = min(t.Low[j], l.Low[j]), max(t.High[j], l.High[j])
			}
		}
	}
	return total
}

// gates counts pre-activation parts that stand at an end of int16.
func (c *LayerCounts) gates(parts ...int32) {
	for _, v := range parts {
		if v == maxInt16 || v == minInt16 {
			c.Gates++
		}
	}
}

// stallDistance is how far apart state and candidate of a unit must be, with 15 fraction bits,
// before a state that does not move counts as stalled: 1 % of full scale, 0.01·32768 (our choice).
const stallDistance = 328

// move counts a stalled update of unit j of a GRU. view is the old state with 15 fraction bits.
func (c *LayerCounts) move(j int, old, next, candidate, view int32) {
	if distance := candidate - view; next == old &&
		(distance > stallDistance || distance < -stallDistance) {
		c.Stalled[j]++
	}
}

// endOfRange is 99 % of the range of an output, 0.99·32767 rounded up (our choice).
const endOfRange = 32440

// outputs notes the outputs of a layer after a step.
func (c *LayerCounts) outputs(view []int32) {
	for j, v := range view {
		c.Low[j], c.High[j] = min(c.Low[j], v), max(c.High[j], v)
		if v >= endOfRange || v <= -endOfRange {
			c.AtEnd[j]++
		}
	}
}

// cell counts a new cell v of an LSTM that stands at an end of its range.
func (c *LayerCounts) cell(q *Layer, v int32) {
	low, high := int32(minInt16), int32(maxInt16)
	if q.wide() {
		low, high = -cellLimit, cellLimit
	}
	if v <= low || v >= high {
		c.Cells++
	}
}

// Saturated returns the number of gate parts and cells at the end of their range, over all layers.
func (c *Counts) Saturated() int {
	n := 0
	for _, l := range c.Layers {
		n += l.Gates + l.Cells
	}
	return n
}

// StalledUnits lists, per layer, the units that stood still on more than a tenth of the steps
// although their candidate was at least 1 % of full scale away.
func (c *Counts) StalledUnits() [][]int {
	return c.units(func(l *LayerCounts, j int) bool { return 10*l.Stalled[j] > c.Steps })
}

// DeadUnits lists, per layer, the units whose output moved by less than 1 % of full scale over all
// recordings: they carry nothing.
func (c *Counts) DeadUnits() [][]int {
	return c.units(func(l *LayerCounts, j int) bool { return l.High[j]-l.Low[j] < stallDistance })
}

// SaturatedUnits lists, per layer, the units that stood at an end of their range on 99 of 100 steps
// or more, and moved on others.
func (c *Counts) SaturatedUnits() [][]int {
	return c.units(func(l *LayerCounts, j int) bool {
		return 100*l.AtEnd[j] >= 99*c.Steps && l.High[j]-l.Low[j] >= stallDistance
	})
}

// units lists, per layer, the units for which a condition holds.
func (c *Counts) units(is func(l *LayerCounts, j int) bool) [][]int {
	found := make([][]int, len(c.Layers))
	for i, l := range c.Layers {
		for j := range l.Stalled {
			if is(l, j) {
				found[i] = append(found[i], j)
			}
		}
	}
	return found
}
