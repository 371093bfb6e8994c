package budget

import (
	"math"
	"math/bits"

	"kerf/dataset"
)

// How choices keep a reserve. The sign-off recordings judge later and are others than the selection
// recordings, so a row must leave room within its tolerance for the difference of the two: value +
// (1 + √2·t(95 %)/t(97.5 %))·half-width must stay within it on the selection recordings. The column
// "may reach" of the path shows that figure. Where there is one selection sequence it has no end.
//
// The same holds between the choice of words and the calibration: a network that is fitted to
// recordings looks better on them than it is. So the selection sequences of each scenario are dealt
// into two halves ([Inputs.folds]), every half is run by a network calibrated on the other
// ([Inputs.heldOut]), and these runs are what tolerances are compared with. The network that goes
// to sign-off is calibrated on both.

// signoffReach is how many half-widths of an interval that rests on so many independent parts of
// the selection recordings, sequences or blocks, must lie within the tolerance. One is the interval
// itself. The rest is for the sign-off recordings, which are others: if they are as many and alike,
// the difference of two such figures has √2 times the standard error. Of these the 95th percentile
// of Student's t is kept free (one-sided), where a half-width is the 97.5th: 1 + 1.645·√2/1.96 =
// 2.19 with many sequences, 1.70 with two.
//
// A search picks the cheapest of the networks that seem to leave that room, so the choice seems to
// leave more of it than it does. Of comparisons that decide, see [Inputs.comparisons], each has an
// equal part of the 5 %.
func signoffReach(parts, comparisons int) float64 {
	return 1 + float64(math.Sqrt2*dataset.OneSided(parts, comparisons))
}

// comparisons is how many comparisons with the tolerances decide where a search ends, in a job with
// so many units and features. Networks with a unit or a feature less lose more and more, so of n of
// them the smallest that holds is found, by bisection or as if by it, with the logarithm of n+1 to
// base 2 comparisons; those far from the end decide nothing. With
// training the least number of units is tried with further seeds.
func (in *Inputs) comparisons() int {
	units := 0
	for _, l := range in.Float.Net.Recurrent {
		units += l.Units
	}
	n := bits.Len(uint(units)) + bits.Len(uint(len(in.Float.Features)))
	if in.Job.Recovery != nil {
		n += mostSeeds - 1
	}
	return n
}

// hopelessSlack is how much worse a row may get that the float network itself
// does not keep: rounding changes the last digits of anything.
const hopelessSlack = 1.01

// judgement is what the rows with a tolerance say about a network on the selection recordings.
type judgement struct {
	rows     []Loss
	tightest Loss // the tightest row
	// the largest share of what a row may reach, see allowance; within every tolerance up to 1
	used float64
}

// assess compares what every row may show on sign-off recordings, judged by the selection
// recordings, with its tolerance.
func (pl *Planner) assess(score *dataset.Score) judgement {
	base := pl.floatOnSelection()
	floor := pl.floatReach()
	j := judgement{rows: pl.lossRows(pl.in.Selection, scores{float: base, cut: score, fixed: score},
		true)}
	first := true
	for i, row := range j.rows {
		if row.Sequences == 0 {
			continue
		}
		row.MayReach, row.FloatMayReach = row.reach(), floor[i]
		j.rows[i] = row
		if share := row.ReachUsed(); first || share > j.used {
			first, j.used, j.tightest = false, share, row
		}
	}
	return j
}

// Reached returns the judged rows of a choice on the selection recordings, with what each may reach
// on the sign-off recordings.
func (pl *Planner) Reached(c *Chosen) []Loss { return pl.assess(c.heldOut).rows }

// ReachUsed returns the share of its tolerance that a row may reach, as the search has it: up to 1
// it leaves the reserve for the sign-off. A row without a sequence uses nothing.
func (l *Loss) ReachUsed() float64 {
	if l.Sequences == 0 {
		return 0
	}
	share := l.MayReach / allowance(*l, l.FloatMayReach)
	if math.IsNaN(share) {
		return math.Inf(1) // the float network makes no error here
	}
	return share
}

// allowance is what a row may reach: its tolerance, or where the float network itself does not keep
// that what the float network reaches. Such a row must not get worse.
func allowance(row Loss, floor float64) float64 {
	return max(row.Allowed(), floor*hopelessSlack, math.SmallestNonzeroFloat64)
}

// isJudgeable reports whether the selection recordings can say of any network that it holds. They
// cannot where a judged row has no interval: the network as given, compared with itself, has none
// there either.
func (pl *Planner) isJudgeable() bool {
	return !math.IsInf(pl.assess(pl.floatOnSelection()).used, 1)
}

// within reports whether every judged row on selection recordings leaves room for the sign-off, and
// returns the tightest row.
func (pl *Planner) within(score *dataset.Score) (tightest Loss, ok bool) {
	j := pl.assess(score)
	return j.tightest, j.used <= 1
}

// reach is what a row may show on the sign-off recordings. Where there is no interval, because one
// sequence says nothing of the others, that has no end: nothing may be cut there.
func (l *Loss) reach() float64 {
	value, high := l.JudgedValue()
	switch {
	case l.Metric == dataset.MaxError:
		return value
	case math.IsNaN(high) && !math.IsNaN(value):
		return math.Inf(1)
	}
	return value + float64(signoffReach(l.independent(), l.comparisons)*(high-value))
}

// constant predicts the means of the selection recordings: what explained shares compare with.
func (in *Inputs) constant() *dataset.Constant { return dataset.ConstantOf(in.Selection) }

// measureConstant returns the score of that constant.
func (in *Inputs) measureConstant(rec *dataset.Recordings) *dataset.Score {
	return dataset.Measure(in.constant(), rec, in.Regions)
}

// used returns the share of its tolerance that a row may reach, less 1: above 0 the row breaks the
// tolerance.
func (l *Loss) used() float64 {
	return (l.MayReach - l.Allowed()) / math.Max(l.Allowed(), math.SmallestNonzeroFloat64)
}
