package quant

import (
	"math"
	"math/rand/v2"

	"kerf/dataset"
)

// An attack is a sequence of inputs that a search makes worse, move by move. A move
// sets some features, over one block of steps or over all, to a value within their
// range, mostly an end of it.
const (
	attackSteps  = 256 // per attack; from a zero state
	attackBlock  = 16  // steps that hold still in a random attack, and the most that a move holds still
	attackBatch  = 8   // moves that are tried side by side, of which the best is taken
	attackWork   = 8e8 // multiply-accumulates that one search may take, some tenths of a second
	attackLeast  = 8   // batches that a search tries, however large the network
	attackMost   = 64
	attackStarts = 4  // one batch in so many starts from random values; the others climb from the best
	rangeSteps   = 48 // per attack on accumulators: fast units reach their ends within a block
	rangeBatches = 100
)

// attackBefore is how many steps before the largest difference a move begins at
// most, one of these: some differences follow at once, some after long memory.
var attackBefore = []int{4, 16, 48, 128}

// Extremes is how far a fixed-point network can stray, as far as recordings and a
// search know: neither is a proof. [Matrix.Bound] is one.
type Extremes struct {
	Outputs      []OutputExtreme
	Accumulators []AccumulatorExtreme // one per matrix, in the order of [Network.Matrices]
}

// OutputExtreme is the magnitude of the difference between the fixed-point and the
// float network in one output, in its physical unit.
type OutputExtreme struct {
	Mean  float64 // over the steps of the recordings
	Seen  float64 // largest on the recordings
	Found float64 // largest with every feature within the range that it has on the recordings; never less than Seen
	Any   float64 // largest with any features that the input format holds; never less than Found
}

// AccumulatorExtreme is how far the rows of a matrix fill their accumulators.
type AccumulatorExtreme struct {
	Seen  int64   // largest magnitude on the recordings, half a step of the rescale included
	Found int64   // the same for all inputs of the search; never less than Seen
	Share float64 // largest share of its own bound that a row reaches, with Found
}

// Extremes runs recordings through both networks and searches for inputs that
// part them, and for inputs that fill the accumulators. p is the float network of
// which n was made. The search climbs from the steps before the largest difference
// and from random ends of range; it has seeds of its own and always finds the same.
// It panics if an accumulator exceeds its bound, which is proven not to happen.
func (n *Network) Extremes(p *dataset.Float, rec *dataset.Recordings) *Extremes {
	e := &Extremes{Outputs: make([]OutputExtreme, len(n.Outputs)), Accumulators: make([]AccumulatorExtreme, len(n.Matrices()))}
	recorded := n.compare(p, rec, e.Outputs)
	watch := n.watch(rec)
	for i, reach := range watch.reach {
		e.Accumulators[i].Seen = reach.size
	}
	limits := [2]bounds{recordedBounds(rec), n.inputBounds(rec.Features)}
	found := make([][2]float64, len(n.Outputs))
	dataset.InParallel(1+2*len(n.Outputs), func(i int) {
		if i == 0 {
			watch.attack(limits[1])
			return
		}
		o, which := (i-1)/2, (i-1)%2
		s := &attacker{net: n, float: p, output: o, bounds: limits[which], random: rand.New(rand.NewPCG(uint64(o), uint64(which)))}
		found[o][which] = s.climb(recorded[o])
	})
	for o := range e.Outputs {
		out := &e.Outputs[o]
		out.Found = max(out.Seen, found[o][0])
		out.Any = max(out.Found, found[o][1])
	}
	for i, reach := range watch.reach {
		e.Accumulators[i].Found, e.Accumulators[i].Share = reach.size, reach.share
	}
	return e
}

// compare fills Mean and Seen, and returns per output the steps before and at the
// largest difference.
func (n *Network) compare(p *dataset.Float, rec *dataset.Recordings, to []OutputExtreme) []*dataset.Sequence {
	outputs := len(n.Outputs)
	differences := make([][]float64, len(rec.Sequences))
	dataset.EachSequence(rec, func(i int, s *dataset.Sequence) { differences[i] = n.differences(p, s) })
	worst := make([]*dataset.Sequence, outputs)
	for o := range outputs {
		sum, steps := 0.0, 0
		for i, d := range differences {
			s := rec.Sequences[i]
			for step := range s.Steps {
				v := d[step*outputs+o]
				sum += v
				if v > to[o].Seen || worst[o] == nil {
					to[o].Seen, worst[o] = max(to[o].Seen, v), window(s, step)
				}
			}
			steps += s.Steps
		}
		to[o].Mean = sum / float64(steps)
	}
	return worst
}

// differences are the magnitudes of fixed minus float, steps × outputs.
func (n *Network) differences(p *dataset.Float, s *dataset.Sequence) []float64 {
	fixed, float := make([]float64, s.Steps*len(n.Outputs)), make([]float64, s.Steps*len(n.Outputs))
	n.Predict(s, fixed)
	p.Predict(s, float)
	for i, v := range float {
		fixed[i] = math.Abs(fixed[i] - v)
	}
	return fixed
}

// window is the steps of a sequence up to one of them, as many as an attack has.
func window(s *dataset.Sequence, last int) *dataset.Sequence {
	columns := len(s.X) / s.Steps
	first := max(0, last+1-attackSteps)
	return &dataset.Sequence{Steps: last + 1 - first, X: s.X[first*columns : (last+1)*columns]}
}

// bounds are the least and the largest value of every feature, in physical units.
type bounds struct{ low, high []float64 }

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

// inputBounds are the ends of the input format; features that were cut stay at 0.
func (n *Network) inputBounds(features int) bounds {
	b := bounds{make([]float64, features), make([]float64, features)}
	for i, k := range n.Columns {
		mean, factor := n.EncodeConstants(i)
		b.low[k] = float64(mean) + minInt16/float64(factor)
		b.high[k] = float64(mean) + maxInt16/float64(factor)
	}
	return b
}

// attacker looks for the largest difference in one output.
type attacker struct {
	net    *Network
	float  *dataset.Float
	output int
	bounds bounds
	random *rand.Rand
}

// batches is how many batches one search tries.
func (n *Network) batches() int {
	work := float64(n.Shape().MultiplyAccumulates()) * 2 * attackSteps * attackBatch
	return int(max(attackLeast, min(attackMost, attackWork/work)))
}

// climb improves the best of some random attacks and of the recorded one, and
// returns the largest difference.
func (a *attacker) climb(recorded *dataset.Sequence) float64 {
	best := a.worst([]*dataset.Sequence{recorded})
	batches := a.net.batches()
	attacks := make([]*dataset.Sequence, attackBatch)
	for batch := range batches {
		for i := range attacks {
			if batch < batches/attackStarts {
				attacks[i] = a.bounds.random(a.random, attackSteps, a.net.Columns)
			} else {
				attacks[i] = a.bounds.move(a.random, best.attack, best.step, a.net.Columns)
			}
		}
		if next := a.worst(attacks); next.difference > best.difference {
			best = next
		}
	}
	return best.difference
}

// parting is an attack and where the networks are furthest apart.
type parting struct {
	attack     *dataset.Sequence
	step       int
	difference float64
}

// worst runs attacks and returns the one that parts the networks furthest.
func (a *attacker) worst(attacks []*dataset.Sequence) parting {
	outputs := len(a.net.Outputs)
	fixed, float := make([][]float64, len(attacks)), make([]float64, attackSteps*outputs)
	for i, s := range attacks {
		fixed[i] = make([]float64, s.Steps*outputs)
	}
	a.net.PredictAll(attacks, fixed)
	best := parting{difference: -1}
	for i, s := range attacks {
		a.float.Predict(s, float)
		for step := range s.Steps {
			at := step*outputs + a.output
			if d := math.Abs(fixed[i][at] - float[at]); d > best.difference {
				best = parting{s, step, d}
			}
		}
	}
	return best
}

// random is an attack whose blocks hold ends of range.
func (b bounds) random(random *rand.Rand, steps int, columns []int) *dataset.Sequence {
	s := &dataset.Sequence{Steps: steps, X: make([]float64, steps*len(b.low))}
	for first := 0; first < steps; first += attackBlock {
		for _, k := range columns {
			b.hold(s, first, first+attackBlock, k, float64(random.IntN(2)))
		}
	}
	return s
}

// hold keeps feature k at one place of its range, 0 to 1, from one step to before another.
func (b bounds) hold(s *dataset.Sequence, from, to, k int, place float64) {
	v := b.low[k] + float64(place*(b.high[k]-b.low[k]))
	for step := from; step < min(to, s.Steps); step++ {
		s.X[step*len(b.low)+k] = v
	}
}

// move is an attack with some features changed for some steps not long before the
// given one, in a quarter of the moves up to it.
func (b bounds) move(random *rand.Rand, attack *dataset.Sequence, before int, columns []int) *dataset.Sequence {
	s := &dataset.Sequence{Steps: attack.Steps, X: append([]float64(nil), attack.X...)}
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
	return s
}
