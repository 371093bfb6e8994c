package dataset

import (
	"math/bits"

	"kerf/model/lanes"
)

// groupSums adds up the errors of one candidate on one group, lane by lane.
type groupSums struct {
	prepared *Prepared
	group    *group
	active   int          // lanes whose sequence has not ended
	errors   []laneErrors // [outputs × (1 + regions)], as in Score; of a classifier empty
	classes  [][]int      // of a classifier, [lanes][steps]: the predicted class
}

// laneErrors are the sums of the errors of one output in one region, per lane, in standard
// deviations of the output.
type laneErrors struct {
	steps              [lanes.Width]int
	sum, sumAbs, sumSq [lanes.Width]float64
	max                [lanes.Width]float64
}

func newGroupSums(p *Prepared, g *group) *groupSums {
	s := &groupSums{prepared: p, group: g, active: len(g.lengths)}
	if !p.rec.Classes {
		s.errors = make([]laneErrors, len(p.outputs)*(1+len(p.regions)))
		return s
	}
	for _, steps := range g.lengths {
		s.classes = append(s.classes, make([]int, 0, steps))
	}
	return s
}

// add takes in the raw outputs and the reference of one step, both [outputs × lanes].
func (s *groupSums) add(step int, raw, y []float32) {
	for s.group.lengths[s.active-1] <= step {
		s.active--
	}
	counted := s.group.counted(step, s.active)
	if s.prepared.rec.Classes {
		s.addClasses(raw)
		return
	}
	regions := len(s.prepared.regions)
	within := s.group.within[step*regions : (step+1)*regions]
	for o := range s.prepared.outputs {
		var e [lanes.Width]float64
		got, want := (*[lanes.Width]float32)(raw[o*lanes.Width:]),
			(*[lanes.Width]float32)(y[o*lanes.Width:])
		for lane := range e {
			e[lane] = float64(got[lane]) - float64(want[lane])
		}
		sums := s.errors[o*(1+regions):][:1+regions]
		for lane := range e[:s.active] {
			if counted>>lane&1 == 1 {
				sums[0].add(lane, e[lane])
			}
		}
		for r, set := range within {
			for set &= counted; set != 0; set &= set - 1 {
				lane := bits.TrailingZeros8(set)
				sums[1+r].add(lane, e[lane])
			}
		}
	}
}

func (l *laneErrors) add(lane int, e float64) {
	lane &= lanes.Width - 1
	l.steps[lane]++
	l.sum[lane] += e
	l.sumSq[lane] += float64(e * e)
	if e < 0 {
		e = -e
	}
	l.sumAbs[lane] += e
	l.max[lane] = max(l.max[lane], e)
}

// addClasses notes the predicted class of every lane.
func (s *groupSums) addClasses(raw []float32) {
	outputs := s.prepared.outputs
	physical := make([]float64, len(outputs))
	for lane := range s.active {
		for o, out := range outputs {
			physical[o] = float64(float64(raw[o*lanes.Width+lane])*out.Std) + out.Mean
		}
		s.classes[lane] = append(s.classes[lane], Class(physical))
	}
}

// store writes the sums to the pieces that hold a step, and begins new sums. Of a classifier it
// writes the predicted classes once, at the last step of the group.
func (s *groupSums) store(score *Score, step int) {
	last := step == s.group.steps()-1
	for lane, i := range s.group.sequences {
		if s.prepared.rec.Classes {
			if last {
				score.countClasses(i, s.prepared.rec.Sequences[i], s.classes[lane])
			}
			continue
		}
		if piece := score.pieceOf(i, step); piece < score.first[i+1] {
			s.storeLane(score, lane, piece)
		}
	}
	clear(s.errors)
}

func (s *groupSums) storeLane(score *Score, lane, piece int) {
	regions := len(s.prepared.regions)
	for o, out := range s.prepared.outputs {
		for r := -1; r < regions; r++ {
			from := &s.errors[o*(1+regions)+1+r]
			*score.at(piece, o, r) = tally{
				steps: from.steps[lane], sum: from.sum[lane] * out.Std,
				sumAbs: from.sumAbs[lane] * out.Std,
				sumSq:  from.sumSq[lane] * out.Std * out.Std, max: from.max[lane] * out.Std,
			}
		}
	}
}
