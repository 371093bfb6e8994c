package budget

import (
	"context"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/mat"

	"kerf/dataset"
	"kerf/portable"
)

// mostShifted is by how many steps outputs are tried earlier and later.
const mostShifted = 3

// shifts compare predictions with outputs recorded some steps later or earlier, on the steps that
// have both. Outputs that fit when they are taken later are a cause: no network can know them. For
// earlier ones see belongEarlier.
func (pl *Planner) shifts(ctx context.Context, rec *dataset.Recordings,
	predicted [][]float64) []view {
	var views []view
	for k := -mostShifted; k <= mostShifted; k++ {
		if ctx.Err() != nil {
			return nil
		}
		if k == 0 {
			continue
		}
		s := pl.in.shifted(rec, predicted, k)
		if s.base == nil || k < 0 && s.helps() && !pl.belongEarlier(rec, s, k) {
			continue
		}
		late := "late"
		if k < 0 {
			late = "early"
		}
		says := fmt.Sprintf("seem to be recorded %s too %s", steps(max(k, -k)), late)
		views = append(views,
			view{pl.in.cause(CauseShift, "the outputs of the recordings", says, rec, s.base,
				s.score,
				s.compared), s.compared, func() (*dataset.Recordings, [][]float64) {
				return s.later, s.values
			}})
	}
	return views
}

// backwards runs the network from the last step of every sequence to its first: a file that is
// sorted with the newest step first has outputs that belong to their features, in a wrong order.
func (in *Inputs) backwards(rec *dataset.Recordings, base *dataset.Score) view {
	predicted := predictions(rec, reversed{in.Float})
	score := in.scoreOf(rec, predicted)
	c := in.compareAll(base, score, dataset.Compare)
	cause := in.cause(CauseBackwards, "the steps of the recordings", "seem to run backwards", rec,
		base,
		score, c)
	return view{cause, c, func() (*dataset.Recordings, [][]float64) { return rec, predicted }}
}

// reversed predicts the steps of a sequence from the last to the first.
type reversed struct{ *dataset.Float }

// Predict implements [dataset.Predictor].
func (r reversed) Predict(s *dataset.Sequence, dst []float64) {
	turned := *s
	turned.X = reversedSteps(s.X, len(s.X)/s.Steps)
	r.Float.Predict(&turned, dst)
	copy(dst, reversedSteps(dst, len(dst)/s.Steps))
}

// reversedSteps has the steps of width values in reverse order.
func reversedSteps(values []float64, width int) []float64 {
	turned := make([]float64, 0, len(values))
	for at := len(values) - width; at >= 0; at -= width {
		turned = append(turned, values[at:at+width]...)
	}
	return turned
}

// shift is how a network does on outputs as given and on those recorded some steps later.
type shift struct {
	given, later *dataset.Recordings
	values       [][]float64    // predictions for both
	base, score  *dataset.Score // nil: fewer than two sequences are long enough
	compared
}

func (in *Inputs) shifted(rec *dataset.Recordings, predicted [][]float64, k int) shift {
	var s shift
	s.given, s.later, s.values = overlap(rec, predicted, k)
	if len(s.given.Sequences) < 2 {
		s.compared = compared{least: 1, most: 1, low: 1, high: 1}
		return s
	}
	s.base, s.score = in.scoreOf(s.given, s.values), in.scoreOf(s.later, s.values)
	s.compared = in.compareAll(s.base, s.score, dataset.Compare)
	return s
}

// overlap pairs predictions with the outputs at the same step and with those k steps later, on the
// steps that have both.
func overlap(rec *dataset.Recordings, predicted [][]float64,
	k int) (given, shifted *dataset.Recordings, values [][]float64) {
	a, b := *rec, *rec
	a.Sequences, b.Sequences, a.Memory, b.Memory = nil, nil, 0, 0
	for i, s := range rec.Sequences {
		first, last := max(0, -k), min(s.Steps, s.Steps-k)
		if last <= max(first, s.Settle) {
			continue
		}
		window := func(from int) *dataset.Sequence {
			short := *s
			short.Steps, short.Settle = last-first, max(0, s.Settle-first)
			short.X = s.X[first*rec.Features : last*rec.Features]
			short.Y = s.Y[(first+from)*rec.Outputs : (last+from)*rec.Outputs]
			return &short
		}
		a.Sequences, b.Sequences = append(a.Sequences, window(0)), append(b.Sequences, window(k))
		values = append(values, predicted[i][first*rec.Outputs:last*rec.Outputs])
	}
	return &a, &b, values
}

// belongEarlier reports whether outputs that fit better when they are taken some steps earlier were
// recorded too early. Where a network forecasts or smooths, its outputs come nearer to earlier
// recorded values than to those of the same step, and nothing is wrong. Two things tell:
//
//   - sign-off outputs alone that are followed earlier as well as those of the selection recordings
//     are followed at their own steps;
//   - what features and predictions of a step still say of the error at that step, by a linear fit.
//     Training leaves nothing where the outputs belong. A forecast of tomorrow leaves much of an
//     error against today, which the features know. So the outputs belong earlier if less is told
//     there, with all of the 95 % interval of the difference. Where both sets fit better so, it is
//     that of both.
func (pl *Planner) belongEarlier(rec *dataset.Recordings, here shift, k int) bool {
	other := pl.in.Signoff
	if rec == pl.in.Signoff {
		other = pl.in.Selection
	}
	there := pl.in.shifted(other, predictions(other, pl.in.Float), k)
	if rec == pl.in.Signoff && there.base != nil && !there.helps() {
		_, low, _ := pl.in.errorRatio(there.base, there.score, here.output, dataset.Compare)
		return low > here.high && pl.errsAsOnSelection(here)
	}
	if pl.in.Float.Classes {
		return false // the errors of classes are no differences
	}
	if there.helps() {
		here = here.and(there)
	}
	less, squares := pl.in.toldLess(here)
	_, low, _ := dataset.RatioInterval(less, squares)
	return low > 0
}

// errsAsOnSelection reports whether a shift brings the error of its output down to about that on
// the selection recordings. A filter that has to follow faster signals than it was trained on lags
// behind, and is nearer to what was recorded earlier, but not as near.
func (pl *Planner) errsAsOnSelection(s shift) bool {
	return pl.in.errorOf(s.score, s.output) <= errsMoreRatio*pl.in.errorOf(pl.floatOnSelection(),
		s.output)
}

// and joins the same shift of other recordings.
func (s shift) and(t shift) shift {
	s.given, s.later, s.values = dataset.Join(s.given, t.given), dataset.Join(s.later, t.later),
		slices.Concat(s.values, t.values)
	return s
}

// ridge is added to the squares of every regressor, as a share of them: it takes the edge off what
// is collinear, such as a range beside its ends.
const ridge = 1e-3

// toldLess is, per sequence, how much less of the squared errors a fit tells with the shift than
// without, and the squared errors without. A fit is least squares on the other half of the
// sequences.
func (in *Inputs) toldLess(s shift) (less, squares []float64) {
	less, squares = make([]float64, len(s.values)), make([]float64, len(s.values))
	for half := range 2 {
		width := in.regressors()
		products, ofGiven, ofLater := mat.NewSymDense(width, nil), make([]float64, width),
			make([]float64, width)
		raw := products.RawSymmetric()
		in.eachError(s, func(i int, row []float64, given, later float64) {
			if i%2 == half {
				return
			}
			for a, v := range row {
				for b := a; b < width; b++ {
					raw.Data[a*raw.Stride+b] += float64(v * row[b])
				}
				ofGiven[a] += float64(v * given)
				ofLater[a] += float64(v * later)
			}
		})
		for a := range width {
			square := products.At(a, a)
			if square == 0 {
				square = 1 // it never moves and tells nothing
			}
			products.SetSym(a, a, square+float64(ridge*square))
		}
		factor, ok := portable.Cholesky(products)
		if !ok {
			continue
		}
		factor.Solve(ofGiven)
		factor.Solve(ofLater)
		told := func(e, fit float64) float64 { return float64(e*e) - float64((e-fit)*(e-fit)) }
		in.eachError(s, func(i int, row []float64, given, later float64) {
			if i%2 == half {
				less[i] += told(given, portable.Dot(ofGiven, row)) -
					told(later, portable.Dot(ofLater, row))
				squares[i] += float64(given * given)
			}
		})
	}
	return less, squares
}

// regressors is the number of values that an error is fitted with: the constant, the features, the
// predictions.
func (in *Inputs) regressors() int { return 1 + len(in.Float.Kept) + len(in.Float.Outputs) }

// eachError visits the errors of the output of a shift, as given and with it, beside what they are
// fitted with.
func (in *Inputs) eachError(s shift, visit func(i int, row []float64, given, later float64)) {
	row, means := make([]float64, in.regressors()), in.constant().Outputs
	row[0] = 1
	features := row[1 : 1+len(in.Float.Kept)]
	for i, sequence := range s.given.Sequences {
		for step := sequence.Settle; step < sequence.Steps; step++ {
			in.Float.Normalise(sequence.X[step*s.given.Features:(step+1)*s.given.Features],
				features)
			at := step * s.given.Outputs
			for o, mean := range means {
				row[1+len(features)+o] = s.values[i][at+o] - mean
			}
			at += s.output
			visit(i, row, sequence.Y[at]-s.values[i][at],
				s.later.Sequences[i].Y[at]-s.values[i][at])
		}
	}
}
