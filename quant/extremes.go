package quant

import (
	"math"
	"math/rand/v2"

	"kerf/dataset"
)

// Extremes is how far a fixed-point network can stray, as far as recordings and a
// search know: neither is a proof. [Matrix.Bound] is one.
type Extremes struct {
	Given        []OutputExtreme      // from the network as given
	Rounding     []OutputExtreme      // from the float network that was rounded
	Accumulators []AccumulatorExtreme // one per matrix, in the order of [Network.Matrices]
}

// OutputExtreme is the magnitude of the difference between the fixed-point and a
// float network in one output, in its physical unit. Dropped features are those
// that the fixed-point network does not take.
type OutputExtreme struct {
	Mean float64 // over the steps of the recordings that errors count
	Seen float64 // largest on these

	// Largest with kept features within their recorded range and dropped ones as recorded; never
	// less than Seen.
	Found float64
	// The same with any values of kept features that the input format holds; never less than Found.
	Any float64
	// The same as Found with dropped features anywhere in their recorded range; never less than it.
	Dropped float64
}

// AccumulatorExtreme is how far the rows of a matrix fill their accumulators.
type AccumulatorExtreme struct {
	Seen  int64   // largest magnitude on the recordings, half a step of the rescale included
	Found int64   // the same for all inputs of the search; never less than Seen
	Share float64 // largest share of its own bound that a row reaches, with Found
}

// Extremes runs recordings through the fixed-point network, the float network of
// which it was made and the network as given, and searches for inputs that part
// fixed point from either of them, and for inputs that fill the accumulators. made
// takes the features of the fixed-point network, given may take all. Where both are
// one network, their difference is looked for once. Errors must count at some step
// of the recordings.
//
// The search climbs from the steps before the largest difference and from random
// ends of range; it has seeds of its own and always finds the same. It panics if an
// accumulator exceeds its bound, which is proven not to happen.
func (n *Network) Extremes(made, given *dataset.Float, rec *dataset.Recordings) *Extremes {
	rounding := newRival(made)
	if made == given {
		return n.extremes(rounding, rounding, rec)
	}
	return n.extremes(rounding, newRival(given), rec)
}

func (n *Network) extremes(made, given *rival, rec *dataset.Recordings) *Extremes {
	rivals := []*rival{made}
	if given != made {
		rivals = append(rivals, given)
		if len(n.Columns) < rec.Features {
			given.others = newWindows(rec)
		}
	}
	fixed := make([][]float64, len(rec.Sequences))
	dataset.EachPrediction(n, rec, func(i int, _ *dataset.Sequence, predicted []float64) {
		fixed[i] = predicted
	})
	for _, r := range rivals {
		r.compare(fixed, rec)
	}
	watch := n.watch(rec)
	e := &Extremes{Given: given.outputs, Rounding: made.outputs,
		Accumulators: make([]AccumulatorExtreme, len(watch.reach))}
	for i, reach := range watch.reach {
		e.Accumulators[i].Seen = reach.size
	}
	n.search(rivals, rec, func() { watch.attack(n.inputBounds(rec.Features)) })
	for i, reach := range watch.reach {
		e.Accumulators[i].Found, e.Accumulators[i].Share = reach.size, reach.share
	}
	return e
}

// compare fills Mean and Seen, and keeps per output the steps around the largest
// difference. fixed is what the fixed-point network predicts, per sequence [steps × outputs].
func (r *rival) compare(fixed [][]float64, rec *dataset.Recordings) {
	type parted struct {
		sum, most float64
		step      int
	}
	parts := make([][]parted, len(rec.Sequences))
	dataset.EachPrediction(r.Predictor, rec, func(i int, s *dataset.Sequence, predicted []float64) {
		parts[i] = make([]parted, rec.Outputs)
		for o := range parts[i] {
			part := parted{most: -1}
			for step := s.Settle; step < s.Steps; step++ {
				at := step*rec.Outputs + o
				d := math.Abs(fixed[i][at] - predicted[at])
				part.sum += d
				if d > part.most {
					part.most, part.step = d, step
				}
			}
			parts[i][o] = part
		}
	})
	r.outputs, r.worst = make([]OutputExtreme, rec.Outputs), make([]*dataset.Sequence, rec.Outputs)
	for o := range r.outputs {
		out, sum := &r.outputs[o], 0.0
		for i, s := range rec.Sequences {
			part := parts[i][o]
			sum += part.sum
			if part.most > out.Seen || r.worst[o] == nil {
				out.Seen, r.worst[o] = max(out.Seen, part.most), window(s, part.step)
			}
		}
		out.Mean = sum / float64(rec.Judged())
	}
}

// search fills Found, Any and Dropped, and does further work beside it.
func (n *Network) search(rivals []*rival, rec *dataset.Recordings, further func()) {
	recorded, held := recordedBounds(rec), n.inputBounds(rec.Features)
	every := make([]int, rec.Features)
	for k := range every {
		every[k] = k
	}
	within, beyond := []func(){}, []func(){further}
	for which, r := range rivals {
		for o := range r.outputs {
			out := &r.outputs[o]
			climb := func(seed int, b bounds, columns []int, others *windows) *parting {
				random := rand.New(rand.NewPCG(uint64(o), uint64(3*which+seed)))
				return (&attacker{n, r, o, b, columns, others, random}).climb(r.worst[o])
			}
			within = append(within, func() {
				best := climb(0, recorded, n.Columns, r.others)
				out.Found, r.worst[o] = max(out.Seen, best.difference), best.attack
			})
			beyond = append(beyond, func() {
				out.Any = max(out.Found, climb(1, held, n.Columns, r.others).difference)
			}, func() {
				out.Dropped = out.Found
				if r.others != nil {
					out.Dropped = max(out.Found, climb(2, recorded, every, nil).difference)
				}
			})
		}
	}
	for _, jobs := range [][]func(){within, beyond} {
		dataset.InParallel(len(jobs), func(i int) { jobs[i]() })
	}
}
