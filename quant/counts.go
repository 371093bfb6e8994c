package quant

import (
	"kerf/dataset"
)

// Counts says what happened inside the integer network over recordings.
type Counts struct {
	Steps     int
	Inputs    int     // feature values beyond the range of the input format
	Gates     int     // pre-activation parts at the end of their range
	Stalled   []int   // per unit: steps on which the state should have moved but rounding held it
	KeepShare []int64 // per unit: sum of the update gate, 16 fraction bits
}

// Count runs the integer network over recordings and counts.
func (n *Network) Count(rec *dataset.Recordings) *Counts {
	parts := make([]*Counts, len(rec.Sequences))
	dataset.EachSequence(rec, func(i int, s *dataset.Sequence) {
		c := &Counts{Stalled: make([]int, n.Units), KeepShare: make([]int64, n.Units)}
		state := n.NewState()
		state.Counts = c
		c.Inputs = n.run(s, state, make([]float64, s.Steps*len(n.Outputs)))
		c.Steps = s.Steps
		parts[i] = c
	})
	total := &Counts{Stalled: make([]int, n.Units), KeepShare: make([]int64, n.Units)}
	for _, c := range parts {
		total.Steps += c.Steps
		total.Inputs += c.Inputs
		total.Gates += c.Gates
		for j := range total.Stalled {
			total.Stalled[j] += c.Stalled[j]
			total.KeepShare[j] += c.KeepShare[j]
		}
	}
	return total
}

// stallDistance is how far apart state and candidate must be, with 15 fraction
// bits, before a state that does not move counts as stalled: 1 % of full scale.
const stallDistance = 328

func (c *Counts) unit(n *Network, j int, old, next, keep, candidate int32, parts [6]int32) {
	for _, v := range parts {
		if v == maxInt16 || v == minInt16 {
			c.Gates++
		}
	}
	view := old
	if n.Formats.StateBits == 32 {
		view = narrowQ15(old)
	}
	if distance := candidate - view; next == old && (distance > stallDistance || distance < -stallDistance) {
		c.Stalled[j]++
	}
	c.KeepShare[j] += int64(keep)
}

// StalledUnits lists the units that stood still on more than a tenth of the
// steps although their candidate was at least 1 % of full scale away.
func (c *Counts) StalledUnits() []int {
	var units []int
	for j, steps := range c.Stalled {
		if 10*steps > c.Steps {
			units = append(units, j)
		}
	}
	return units
}
