package dataset

import (
	"fmt"
	"math"
	"slices"
)

// Sums holds the sums, sequence by sequence, from which a metric of one predictor follows. With
// them [CompareSums] compares two predictors where their scores are not at hand. They cover
// everywhere or one region; those of a scenario are the sums of its sequences, see [Sums.Of].
type Sums struct {
	Sequences int
	// Steps has the number of steps that count [sequences], of the balanced accuracy class by class
	// [sequences × classes].
	Steps []int
	// Parts has one sum for each of Steps: squared errors for the RMSE, their magnitudes for the
	// MAE, errors with their sign for the bias, the largest magnitude (not a sum) for the maximum,
	// right steps for the accuracies, steps of equal class for the agreement, and for the explained
	// share squared errors, of a classifier wrong steps.
	Parts []float64
	// Whole has the sums of the predictor whose error is explained [sequences], for the explained
	// share; it is nil for other metrics.
	Whole []float64
}

// Sums returns the sums of one output in one region, -1 for everywhere, over all sequences of the
// recordings. The agreement is with base, and the explained share is of the error of base; other
// metrics ignore base.
func (s *Score) Sums(base *Score, output, region int, metric Metric) Sums {
	of := func(score *Score, sequence int) *tally {
		if metric == Agreement {
			return merged(score.agreements(base, sequence))
		}
		return merged(score.piecesOf(sequence, Slice{Output: output, Region: region}))
	}
	part, _ := sumOf(metric)
	all := Sums{Sequences: len(s.rec.Sequences)}
	for i := range s.rec.Sequences {
		t := of(s, i)
		switch metric {
		case BalancedAccuracy:
			all.Steps = append(all.Steps, t.members...)
			for _, found := range t.found {
				all.Parts = append(all.Parts, float64(found))
			}
			continue
		case MaxError:
			all.Parts = append(all.Parts, t.max)
		default:
			all.Parts = append(all.Parts, part(t))
		}
		all.Steps = append(all.Steps, t.steps)
		if metric == Explained {
			all.Whole = append(all.Whole, part(of(base, i)))
		}
	}
	return all
}

// Check returns an error if these cannot be the sums of a metric. The other methods may panic on
// sums that Check refuses.
func (s Sums) Check(metric Metric) error {
	whole := 0
	if metric == Explained {
		whole = s.Sequences
	}
	switch {
	case !metric.IsKnown():
		return fmt.Errorf("no sums of %q are known", metric)
	case len(s.Steps) != len(s.Parts) || len(s.Whole) != whole,
		metric != BalancedAccuracy && len(s.Steps) != s.Sequences,
		s.Sequences == 0 && len(s.Steps) > 0, s.Sequences > 0 && len(s.Steps)%s.Sequences != 0:
		return fmt.Errorf("not one sum per sequence")
	}
	for i, steps := range s.Steps {
		if steps < 0 || metric.IsShare() && s.Parts[i] > float64(steps) {
			return fmt.Errorf("more steps than there are")
		}
	}
	for _, v := range slices.Concat(s.Parts, s.Whole) {
		if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 && metric != Bias {
			return fmt.Errorf("%g is no sum of %s", v, metric)
		}
	}
	return nil
}

// Of returns the sums of some of the sequences, by index.
func (s Sums) Of(kept []int) Sums {
	some := Sums{Sequences: len(kept)}
	for _, i := range kept {
		some.Steps = append(some.Steps, ofSequence(s.Steps, s.Sequences, i)...)
		some.Parts = append(some.Parts, ofSequence(s.Parts, s.Sequences, i)...)
		if s.Whole != nil {
			some.Whole = append(some.Whole, s.Whole[i])
		}
	}
	return some
}

// ofSequence returns the part of a list that belongs to sequence i; every sequence has an equal
// part.
func ofSequence[T any](list []T, sequences, i int) []T {
	n := len(list) / sequences
	return list[i*n : (i+1)*n]
}

// tallies returns one tally per sequence with steps, and for an explained share also one of the
// predictor whose error is explained.
func (s Sums) tallies(metric Metric) (own, whole []*tally) {
	for i := range s.Sequences {
		steps, parts := ofSequence(s.Steps, s.Sequences, i), ofSequence(s.Parts, s.Sequences, i)
		t := &tally{}
		for _, n := range steps {
			t.steps += n
		}
		if t.steps == 0 {
			continue
		}
		switch metric {
		case RMSE, Explained:
			t.sumSq = parts[0]
		case MAE:
			t.sumAbs = parts[0]
		case Bias:
			t.sum = parts[0]
		case MaxError:
			t.max = parts[0]
		case Agreement:
			t.agreed = int(parts[0])
		case Accuracy, BalancedAccuracy:
			t.members = steps
			for _, found := range parts {
				t.found = append(t.found, int(found))
			}
		}
		own = append(own, t)
		if metric == Explained {
			whole = append(whole, &tally{steps: t.steps, sumSq: s.Whole[i]})
		}
	}
	return own, whole
}

// Value returns the metric over all sequences.
func (s Sums) Value(metric Metric) float64 {
	own, whole := s.tallies(metric)
	_, value := pairsOver(own, own, whole, metric).whole()
	return value
}

// Change holds how the error of one predictor differs from the error of an earlier one on the same
// steps.
type Change struct {
	// Old and New are values of the metric. Both explained shares are of the same error, that of
	// the old sums.
	Old, New float64
	// Value is New/Old - 1 of an error, |New| - |Old| of the bias, and New - Old of a share. It is
	// NaN where the old error alone was 0.
	Value     float64
	Low, High float64 // 95 % interval of Value; NaN where there is none
	Sequences int     // sequences with steps
}

// CompareSums compares two predictors on the same steps of the same sequences; it panics if Steps
// differ. The interval is that of [Compare], without the blocks of steps, which sums over sequences
// cannot show.
func CompareSums(old, fresh Sums, metric Metric) Change {
	if old.Sequences != fresh.Sequences || !slices.Equal(old.Steps, fresh.Steps) {
		panic("dataset: CompareSums of different steps")
	}
	a, whole := old.tallies(metric)
	b, _ := fresh.tallies(metric)
	p := pairsOver(a, b, whole, metric)
	c := Change{Sequences: p.sequences(), Low: math.NaN(), High: math.NaN()}
	c.Old, c.New = p.whole()
	c.Value = change(c.Old, c.New, metric)
	if c.Sequences < 2 || math.IsNaN(c.Value) {
		return c
	}
	weights, _ := p.weights()
	changes := figure{sample{value: c.Value, weights: weights},
		func(old, fresh float64) float64 { return change(old, fresh, metric) }}
	resampleAll(p, metric, true, &changes)
	c.Low, c.High = changes.interval()
	return c
}

// change returns [Change.Value].
func change(old, fresh float64, metric Metric) float64 {
	switch metric {
	case Bias:
		return math.Abs(fresh) - math.Abs(old)
	case Accuracy, BalancedAccuracy, Agreement, Explained:
		return fresh - old
	}
	return rise(old, fresh, metric)
}
