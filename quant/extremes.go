package quant

import (
	"context"
	"math"
	"math/rand/v2"

	"kerf/dataset"
)

// Extremes says how far a fixed-point network can stray, as far as recordings and a search know.
// Neither is a proof; [Matrix.Bound] is one.
type Extremes struct {
	Given        []OutputExtreme      // from the network as given
	Rounding     []OutputExtreme      // from the float network that was rounded
	Accumulators []AccumulatorExtreme // one per matrix, in the order of [Network.Matrices]
}

// OutputExtreme holds magnitudes of the difference between the fixed-point and a float network in
// one output, in its physical unit. Dropped features are those that the fixed-point network does
// not take.
type OutputExtreme struct {
	Mean float64 // mean over the steps of the recordings at which errors count
	Seen float64 // largest at these steps

	// Found is the largest with kept features within their recorded range and dropped features as
	// recorded; never less than Seen.
	Found float64
	// Any is the largest with any values of kept features that the input format holds and dropped
	// features as recorded; never less than Found.
	Any float64
	// Dropped is the largest with every feature, kept or dropped, anywhere in its recorded range;
	// never less than Found.
	Dropped float64
}

// AccumulatorExtreme says how far the rows of a matrix fill their accumulators.
type AccumulatorExtreme struct {
	Seen  int64   // largest magnitude on the recordings, half a step of the rescale included
	Found int64   // the same for all inputs of the search; never less than Seen
	Share float64 // largest share of its own bound that a row reaches, with Found
}

// Extremes says how far fixed point differs from float at the worst step. An average says little of
// the step that matters. Extremes runs the recordings rec through the integer network, through
// given, the network as given, and through made, the float network that was rounded (cut, or
// trained after it). Then it searches for inputs that separate the integer network further from
// either float network, and for inputs that fill the accumulators. made takes the features of the
// integer network, given may take all. Where both are one network, the search is made once. Errors
// must count at some step of rec. Of a sequence with samples, the integer network takes what the
// front end in integers computes, made takes the same features, and given takes the recorded ones;
// attacks set features, not samples.
//
// # What an attack is
//
// An attack is a sequence of at most 256 steps. Some attacks hold random ends of range block by
// block. The best attack so far is improved move by move: each move sets a few features for some
// steps shortly before the largest difference. Both networks begin at the zero state, and every
// step of an attack counts, also where the job leaves the start of recordings out.
//
// The network as given reads features that were dropped. An attack on it is a window of recorded
// steps in which moves change the kept features alone; the dropped ones stay as recorded, because
// nobody can say what they would do. A further search lets moves set dropped features anywhere in
// their recorded range. The searches within the recorded range come first, and those with more
// freedom go on from the worst attack that was found. So no figure found is less than what the
// recordings show, nor less with more freedom than with less. It can be far more than ever happens:
// two dropped features of cityweather follow from kept ones, and the recordings show no more than
// rounding (0.08 degC), but attacks that break that rule find 22 degC.
//
// # What a search costs and finds
//
// The search is seeded, takes at most 1024 attacks per output and range, and finds the same on
// every machine. After a move the float network goes on from the state before the first step that
// changed, and both networks end a block behind the largest difference. On the demo that leaves the
// float network a seventh of the steps, and every figure is the same as with all of them. The
// searches of the demo take 1.5 to 1.9 s of processor time.
//
// On the uncut demo network in int8 the searches find 1.9 L/min and 2.9 % by volume with any input,
// with five other seeds 1.5 to 4.1 and 2.1 to 2.9. As many random attacks find 1.7 and 1.7, and the
// recordings show 0.017 and 0.012.
//
// Differences that are found are no bounds. Only accumulators have a proven bound; a watcher in 64
// bits beside the engine (accumulator_watch.go) panics if any input exceeds it.
//
// The error is that of ctx.
func (n *Network) Extremes(ctx context.Context, made, given *dataset.Float,
	rec *dataset.Recordings) (*Extremes, error) {
	rounding := newRival(made)
	if made == given && rec.AsSampled() == rec {
		return n.extremes(ctx, rounding, rounding, rec)
	}
	return n.extremes(ctx, rounding, newRival(given), rec)
}

// extremes is [Network.Extremes] for rivals, which are one rival where both float networks are one.
func (n *Network) extremes(ctx context.Context, made, given *rival,
	rec *dataset.Recordings) (*Extremes, error) {
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
	made.compare(fixed, rec.AsSampled())
	if given != made {
		given.compare(fixed, rec)
	}
	watch := n.watch(rec)
	e := &Extremes{Given: given.outputs, Rounding: made.outputs,
		Accumulators: make([]AccumulatorExtreme, len(watch.reach))}
	for i, reach := range watch.reach {
		e.Accumulators[i].Seen = reach.size
	}
	if err := n.search(ctx, rivals, rec, func() {
		watch.attack(ctx, n.inputBounds(rec.Features))
	}); err != nil {
		return nil, err
	}
	for i, reach := range watch.reach {
		e.Accumulators[i].Found, e.Accumulators[i].Share = reach.size, reach.share
	}
	return e, nil
}

// compare fills Mean and Seen of every output, and keeps the recorded steps up to the largest
// difference. fixed holds the predictions of the fixed-point network, per sequence [steps ×
// outputs].
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

// search fills Found, Any and Dropped of every rival and output. It does the work of further beside
// the searches beyond the recorded range. The error is that of ctx.
func (n *Network) search(ctx context.Context, rivals []*rival, rec *dataset.Recordings,
	further func()) error {
	recorded, held := recordedBounds(rec), n.inputBounds(rec.Features)
	every := make([]int, rec.Features)
	for k := range every {
		every[k] = k
	}
	within, beyond := []func(){}, []func(){further}
	for which, r := range rivals {
		for o := range r.outputs {
			out := &r.outputs[o]
			climb := func(seed int, b bounds, columns []int, others *windows) *separation {
				random := rand.New(rand.NewPCG(uint64(o), uint64(3*which+seed)))
				return (&attacker{n, r, o, b, columns, others, random}).climb(ctx, r.worst[o])
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
		if err := dataset.InParallelUntil(ctx, len(jobs), func(i int) { jobs[i]() }); err != nil {
			return err
		}
	}
	return nil
}
