package budget

import (
	"context"
	"errors"
	"math"
	"slices"

	"kerf/dataset"
	"kerf/quant"
)

// RoundingResult is what one way of rounding gives on selection recordings that
// it was not calibrated on.
type RoundingResult struct {
	Rounding quant.Rounding
	Distance float64 // see prepared.distance
	Tightest Loss
}

// folds is the number of folds that the selection sequences are dealt into: what is calibrated on
// one is judged on the other, and the other way round.
const folds = 2

// prepared is what all word widths of one network share.
type prepared struct {
	candidate Candidate // whose words do not count here
	cut       *dataset.Float
	scaled    *dataset.Float // cut with standardised inputs, or what recovery training made of it

	calibration quant.Calibration // of scaled, on all selection recordings
	// per fold: the network and its calibration without the sequences of the fold; scaled and
	// calibration alone when there are too few sequences
	restNets         []*dataset.Float
	restCalibrations []quant.Calibration
	fold             []int // of every selection sequence

	// per selection sequence what rounding should stay near to: those of cut, or of the network as
	// given once it was recovered
	outputs [][]float64
}

// prepare calibrates the network of a candidate, or returns what it did so last. The error is that
// of ctx.
func (pl *Planner) prepare(ctx context.Context, c Candidate) (*prepared, error) {
	if pl.last != nil && pl.last.candidate.isSameNetwork(c) {
		return pl.last, ctx.Err()
	}
	pl.last = nil // its moments make room
	p := &prepared{candidate: c}
	if c.Recovered != nil && c.Recovered.Scratch {
		p.cut = c.Recovered.Net
	} else {
		p.cut = pl.cutNetwork(c)
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	p.scaled = p.cut
	taught := p.cut
	if c.Recovered != nil {
		p.scaled, taught = c.Recovered.Net, pl.in.Float
	}
	pl.calibrate(p, c)
	if c.Recovered == nil {
		if p.scaled = quant.Standardise(p.cut, p.calibration); p.scaled != p.cut {
			pl.calibrate(p, c)
		}
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	switch taught {
	case p.scaled:
		p.outputs = p.calibration.Predicted(taught)
	case pl.in.Float:
		p.outputs = pl.predictedByFloat()
	default:
		p.outputs = predictions(pl.sampled, taught)
	}
	pl.last = p
	return p, ctx.Err()
}

// calibrate calibrates the network of a candidate on all selection recordings and without each
// fold.
func (pl *Planner) calibrate(p *prepared, c Candidate) {
	var rests []*dataset.Recordings
	p.fold, rests = pl.folds()
	p.restNets, p.restCalibrations = nil, nil
	switch {
	case rests == nil:
		p.calibration = quant.Calibrate(p.scaled, pl.sampled)
		p.restNets = []*dataset.Float{p.scaled}
		p.restCalibrations = []quant.Calibration{p.calibration}
	case c.Recovered == nil:
		p.calibration, p.restCalibrations = quant.CalibrateFolds(p.scaled, pl.sampled, p.fold,
			folds)
		p.restNets = []*dataset.Float{p.scaled, p.scaled}
	default: // each fold has a network that was trained without it
		p.calibration = quant.Calibrate(p.scaled, pl.sampled)
		p.restNets = c.Recovered.withoutFold
		for k, rest := range rests {
			p.restCalibrations = append(p.restCalibrations,
				quant.Calibrate(c.Recovered.withoutFold[k], rest))
		}
	}
	pl.in.takeSamples(&p.calibration)
	for k := range p.restCalibrations {
		pl.in.takeSamples(&p.restCalibrations[k])
	}
}

// folds gives every selection sequence a fold, and for every fold the recordings without it, as a
// device sees them; see [foldsOf].
func (pl *Planner) folds() (fold []int, rests []*dataset.Recordings) { return foldsOf(pl.sampled) }

// foldsOf gives every sequence a fold, and for every fold the recordings without it; none, and one
// fold for all, when there are too few sequences.
func foldsOf(selection *dataset.Recordings) (fold []int, rests []*dataset.Recordings) {
	fold = dealt(selection)
	for k := range folds {
		rest := *selection
		rest.Sequences = nil
		for i, s := range selection.Sequences {
			if fold[i] != k {
				rest.Sequences = append(rest.Sequences, s)
			}
		}
		if len(rest.Sequences) == 0 || len(rest.Sequences) == len(selection.Sequences) {
			return make([]int, len(fold)), nil
		}
		rests = append(rests, &rest)
	}
	return fold, rests
}

// dealt gives every sequence a fold; each scenario is dealt evenly. Where no
// scenario has two sequences, they are dealt as they come.
func dealt(rec *dataset.Recordings) []int {
	seen := map[string]int{}
	byScenario, asTheyCome := make([]int, len(rec.Sequences)), make([]int, len(rec.Sequences))
	for i, s := range rec.Sequences {
		byScenario[i], asTheyCome[i] = seen[s.Scenario]%folds, i%folds
		seen[s.Scenario]++
	}
	if slices.Max(byScenario) == 0 {
		return asTheyCome
	}
	return byScenario
}

// predictions runs a predictor over recordings.
func predictions(rec *dataset.Recordings, p dataset.Predictor) [][]float64 {
	all := make([][]float64, len(rec.Sequences))
	dataset.EachPrediction(p, rec, func(i int, _ *dataset.Sequence, predicted []float64) {
		all[i] = predicted
	})
	return all
}

// recorded predicts what was computed before.
type recorded map[*dataset.Sequence][]float64

func (r recorded) Predict(s *dataset.Sequence, dst []float64) { copy(dst, r[s]) }

// ways are the roundings that are compared. Without a second fold there is
// nothing to judge a fit on.
func (p *prepared) ways() []quant.Rounding {
	var all []quant.Rounding
	for _, r := range quant.Roundings {
		if len(p.restCalibrations) == folds || !r.Fitted() {
			all = append(all, r)
		}
	}
	return all
}

// heldOut runs integer networks on the selection recordings, every sequence by the network of its
// fold, which was calibrated without it. network makes that of a fold. Only the sequences of the
// first folds are run, and of each fold about so many steps where most is not 0; the others have no
// predictions. The error is that of ctx or of network.
func (in *Inputs) heldOut(ctx context.Context, p *prepared, first, most int,
	network func(fold int) (*quant.Network, error)) ([][]float64, error) {
	nets := make([]*quant.Network, min(first, len(p.restCalibrations)))
	for k := range nets {
		var err error
		if nets[k], err = network(k); err != nil {
			return nil, err
		}
	}
	all := make([][]float64, len(in.Selection.Sequences))
	for fold, net := range nets {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		ofFold := *in.Selection
		ofFold.Sequences = nil
		var indices []int
		for i, s := range in.Selection.Sequences {
			if p.fold[i] == fold {
				ofFold.Sequences, indices = append(ofFold.Sequences, s), append(indices, i)
			}
		}
		if most > 0 {
			every := max(1, ofFold.Steps()/most)
			ofFold.Sequences, indices = eachNth(ofFold.Sequences, every), eachNth(indices, every)
		}
		dataset.EachPrediction(net, &ofFold, func(i int, _ *dataset.Sequence, predicted []float64) {
			all[indices[i]] = predicted
		})
	}
	return all, nil
}

// eachNth returns the first of a list and then every n-th one.
func eachNth[T any](list []T, n int) []T {
	var some []T
	for i := 0; i < len(list); i += n {
		some = append(some, list[i])
	}
	return some
}

// measured scores predictions of the selection recordings.
func (in *Inputs) measured(predicted [][]float64) *dataset.Score {
	known := recorded{}
	for i, s := range in.Selection.Sequences {
		known[s] = predicted[i]
	}
	return dataset.Measure(known, in.Selection, in.Regions)
}

// distance is how far predictions are from those of the float network: the root mean square over
// steps, of every output in RMSEs of the float network against the reference, added up as squares;
// the scores of classes as they are. Sequences without predictions do not count. The reference
// enters by these units alone: an error of rounding that happens to run against one of the float
// network on these recordings counts like any other.
func (in *Inputs) distance(p *prepared, predicted [][]float64) float64 {
	outputs := in.Selection.Outputs
	squares, own := make([]float64, outputs), make([]float64, outputs)
	for i, s := range in.Selection.Sequences {
		for k, v := range predicted[i] {
			if k < s.Settle*outputs {
				continue
			}
			d, e := v-p.outputs[i][k], p.outputs[i][k]-s.Y[k]
			squares[k%outputs] += float64(d * d)
			own[k%outputs] += float64(e * e)
		}
	}
	total := 0.0
	for o, sum := range squares {
		if in.Float.Classes {
			total += sum / float64(in.Selection.Judged())
		} else {
			total += sum / math.Max(own[o], math.SmallestNonzeroFloat64)
		}
	}
	return math.Sqrt(total)
}

// try cuts the network and brings it to fixed point with the way of rounding
// that stays nearest to the float network on selection recordings that it was not
// calibrated on. What is judged are these same runs; the network itself
// is then calibrated on all selection recordings.
func (pl *Planner) try(ctx context.Context, c Candidate) (*Chosen, error) {
	p, err := pl.prepare(ctx, c)
	if err != nil {
		return nil, err
	}
	return pl.tryWays(ctx, p, c, p.ways())
}

// tryWays is try with some ways of rounding. Only the network of the nearest way is calibrated on
// all selection recordings; a way that asks too much of a row there is left out.
func (pl *Planner) tryWays(ctx context.Context, p *prepared, c Candidate,
	ways []quant.Rounding) (*Chosen, error) {
	type way struct {
		RoundingResult
		within bool
		score  *dataset.Score
	}
	var all []way
	for _, rounding := range ways {
		c.Rounding = rounding
		predicted, err := pl.in.heldOut(ctx, p, folds, 0, func(k int) (*quant.Network, error) {
			return quant.Quantize(p.restNets[k], p.restCalibrations[k], c.Formats, rounding)
		})
		if isOnlyOf(rounding, err) && len(ways) > 1 {
			continue
		}
		if err != nil {
			return nil, err
		}
		w := way{score: pl.in.measured(predicted)}
		w.Rounding, w.Distance = rounding, pl.in.distance(p, predicted)
		w.Tightest, w.within = pl.within(w.score)
		all = append(all, w)
	}
	for {
		best := all[0]
		for _, w := range all[1:] {
			if w.Distance < best.Distance {
				best = w
			}
		}
		fixed, err := quant.Quantize(p.scaled, p.calibration, c.Formats, best.Rounding)
		if isOnlyOf(best.Rounding, err) && len(all) > 1 {
			all = slices.DeleteFunc(all, func(w way) bool { return w.Rounding == best.Rounding })
			continue
		}
		if err != nil {
			return nil, err
		}
		c.Rounding, c.shifts = best.Rounding, fixed.Shape().Shifts
		chosen := &Chosen{Candidate: c, CutNet: p.cut, Fixed: fixed, Within: best.within,
			used: best.Tightest.used(), heldOut: best.score}
		for _, w := range all {
			chosen.Roundings = append(chosen.Roundings, w.RoundingResult)
		}
		return chosen, nil
	}
}

// isOnlyOf reports whether an error says that one way of rounding alone asks too much of a row.
func isOnlyOf(way quant.Rounding, err error) bool {
	outOfRange := new(quant.RangeError)
	return way != quant.Nearest && errors.As(err, &outOfRange)
}
