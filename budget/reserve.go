package budget

import (
	"fmt"
	"math"
	"math/bits"

	"kerf/dataset"
)

// How choices keep a reserve. The sign-off recordings judge later and are others than the selection
// recordings, so a row must leave room within its tolerance for the difference of the two, and for
// the interval that the sign-off recordings will have: value + [signoffReach]·half-width must stay
// within it on the selection recordings. The column "may reach" of the path shows that figure.
// Where there is one selection sequence it has no end.
//
// The same holds between the choice of words and the calibration: a network that is fitted to
// recordings looks better on them than it is. So the selection sequences of each scenario are dealt
// into two halves ([Inputs.folds]), every half is run by a network calibrated on the other
// ([Inputs.heldOut]), and these runs are what tolerances are compared with. The network that goes
// to sign-off is calibrated on both.

// signoffReach is how many half-widths of an interval that rests on so many independent parts of
// the selection recordings, sequences or blocks, must lie within the tolerance. The sign-off
// recordings, alike but others, have so many signoff parts. One part of the reserve is their own
// interval, see [dataset.HalfWidths]. The other is the difference of the two figures, which has
// √(1 + parts/signoff) times the standard error: of that the 95th percentile of Student's t is kept
// free (one-sided), where a half-width is the 97.5th. With as many, this is 1 + 1.645·√2/1.96 =
// 2.19 with many sequences, 1.70 with two. What the sign-off recordings show counts for nothing
// here, only how many they are.
//
// A search picks the cheapest of the networks that seem to leave that room, so the choice seems to
// leave more of it than it does. Of comparisons that decide, see [Inputs.comparisons], each has an
// equal part of the 5 %.
func signoffReach(parts, signoff, comparisons int) float64 {
	apart := math.Sqrt(1 + float64(parts)/float64(signoff))
	return dataset.HalfWidths(parts, signoff) +
		float64(apart*dataset.OneSided(parts, comparisons))
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
	return value + float64(l.signoffReach()*(high-value))
}

// signoffReach is that of the parts that a row on selection recordings has. Where the row has no
// sign-off sequence, there are taken to be as many.
func (l *Loss) signoffReach() float64 {
	parts := l.independent()
	signoff := parts
	if l.signoffShare > 0 {
		signoff = max(2, int(math.Round(float64(parts)*l.signoffShare)))
	}
	return signoffReach(parts, signoff, l.comparisons)
}

// muchMore is how many times the reserve must be what as many sign-off as selection sequences would
// need, to be told of (our choice).
const muchMore = 1.25

// warnReserve tells of the tightest row that has a large reserve for want of sign-off sequences.
func (r *Result) warnReserve(pl *Planner) {
	var tightest Loss
	most := 0.0
	for _, l := range pl.Reached(r.Chosen) {
		alike := l
		alike.signoffShare = 1
		times := l.signoffReach() / alike.signoffReach()
		if few := l.signoffSequences() > 1 && times > muchMore; few &&
			(most == 0 || l.ReachUsed() > tightest.ReachUsed()) {
			most, tightest = times, l
		}
	}
	if most > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%s has %d sign-off sequences for %d "+
			"selection sequences, so the reserve is %.1f times what as many would need: with more "+
			"of them more could go", tightest.Text(), tightest.signoffSequences(),
			tightest.Sequences, most))
	}
}

// signoffSequences returns the number of sign-off sequences of a row on selection recordings.
func (l *Loss) signoffSequences() int {
	return int(math.Round(l.signoffShare * float64(l.Sequences)))
}

// signoffShares returns the number of sign-off sequences for each selection sequence, by what a row
// is about. There is none where either set has no sequence.
func (in *Inputs) signoffShares() map[dataset.Slice]float64 {
	selection, signoff := in.measureConstant(in.Selection), in.measureConstant(in.Signoff)
	shares := map[dataset.Slice]float64{}
	for o := range in.judged() {
		for _, p := range in.places(in.Selection, o) {
			n, m := selection.Sequences(p.slice), signoff.Sequences(p.slice)
			if n > 0 && m > 0 {
				shares[p.slice] = float64(m) / float64(n)
			}
		}
	}
	return shares
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
