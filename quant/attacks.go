package quant

import (
	"math"
	"math/rand/v2"
	"slices"

	"kerf/dataset"
)

// attack is a sequence of inputs that is meant to separate two networks.
type attack struct {
	*dataset.Sequence
	from int // the first step at which it differs from the best attack so far
	to   int // the first step at which the networks are no longer compared
}

// wholeAttack returns an attack on which the networks are compared from the first step to the last.
func wholeAttack(s *dataset.Sequence) attack { return attack{s, 0, s.Steps} }

// window returns the steps of a sequence that end with step last, as many as an attack has. Near
// the start of the sequence later steps make up for those that are missing.
func window(s *dataset.Sequence, last int) *dataset.Sequence {
	columns := len(s.X) / s.Steps
	first := max(0, last+1-attackSteps)
	end := min(first+attackSteps, s.Steps)
	return &dataset.Sequence{Steps: end - first, X: s.X[first*columns : end*columns]}
}

// windows stands for all runs of recorded steps that are as long as an attack; of a sequence that
// is shorter it has the whole sequence.
type windows struct {
	sequences []*dataset.Sequence
	count     int
}

// newWindows counts the windows of recordings.
func newWindows(rec *dataset.Recordings) *windows {
	w := &windows{sequences: rec.Sequences}
	for _, s := range rec.Sequences {
		w.count += w.of(s)
	}
	return w
}

// of returns how many windows a sequence has.
func (w *windows) of(s *dataset.Sequence) int { return max(1, s.Steps-attackSteps+1) }

// draw returns a copy of one window, each as likely as any other.
func (w *windows) draw(random *rand.Rand) *dataset.Sequence {
	at := random.IntN(w.count)
	for _, s := range w.sequences {
		if count := w.of(s); at >= count {
			at -= count
			continue
		}
		drawn := window(s, at+attackSteps-1)
		drawn.X = slices.Clone(drawn.X)
		return drawn
	}
	panic("quant: more windows counted than there are")
}

// bounds holds the least and the largest value of every feature, in physical units.
type bounds struct{ low, high []float64 }

// recordedBounds returns the range of every feature over recordings; values that are not numbers
// are left out.
func recordedBounds(rec *dataset.Recordings) bounds {
	b := bounds{make([]float64, rec.Features), make([]float64, rec.Features)}
	for k := range b.low {
		b.low[k], b.high[k] = math.Inf(1), math.Inf(-1)
	}
	for _, s := range rec.Sequences {
		for i, v := range s.X {
			k := i % rec.Features
			if !math.IsNaN(v) {
				b.low[k], b.high[k] = min(b.low[k], v), max(b.high[k], v)
			}
		}
	}
	return b
}

// inputBounds returns the ends of the input format, in physical units. The bounds of features that
// were cut are 0.
func (n *Network) inputBounds(features int) bounds {
	b := bounds{make([]float64, features), make([]float64, features)}
	for i, k := range n.Columns {
		mean, factor := n.EncodeConstants(i)
		b.low[k] = float64(mean) + minInt16/float64(factor)
		b.high[k] = float64(mean) + maxInt16/float64(factor)
	}
	return b
}

// random returns an attack that consists of ends of range.
func (b bounds) random(random *rand.Rand, steps int, columns []int) *dataset.Sequence {
	s := &dataset.Sequence{Steps: steps, X: make([]float64, steps*len(b.low))}
	b.randomise(random, s, columns)
	return s
}

// randomise holds each of the columns at a random end of its range, block by block.
func (b bounds) randomise(random *rand.Rand, s *dataset.Sequence, columns []int) {
	for first := 0; first < s.Steps; first += attackBlock {
		for _, k := range columns {
			b.hold(s, first, first+attackBlock, k, float64(random.IntN(2)))
		}
	}
}

// hold sets feature k to one place of its range, 0 to 1, from step from to the one before step to.
func (b bounds) hold(s *dataset.Sequence, from, to, k int, place float64) {
	v := b.low[k] + float64(place*(b.high[k]-b.low[k]))
	for step := from; step < min(to, s.Steps); step++ {
		s.X[step*len(b.low)+k] = v
	}
}

// move returns a copy of an attack with some features changed for some steps not long before the
// step before; in a quarter of the moves the change reaches up to that step. The networks are
// compared until a block behind it.
func (b bounds) move(random *rand.Rand, of *dataset.Sequence, before int, columns []int) attack {
	s := &dataset.Sequence{Steps: of.Steps, X: slices.Clone(of.X)}
	from := max(0, before-random.IntN(attackBefore[random.IntN(len(attackBefore))]))
	to := from + 1 + random.IntN(attackBlock)
	if random.IntN(4) == 0 {
		to = before + 1
	}
	for range []int{1, 2, 4, len(columns)}[random.IntN(4)] {
		place := float64(random.IntN(2))
		if random.IntN(4) == 0 {
			place = random.Float64()
		}
		b.hold(s, from, to, columns[random.IntN(len(columns))], place)
	}
	return attack{s, from, min(s.Steps, before+attackBlock)}
}
