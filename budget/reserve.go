package budget

import (
	"fmt"
	"math"
	"math/bits"

	"kerf/dataset"
	"kerf/portable"
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
// recordings, alike but others, have so many signoff parts, and an interval with Student's t of so
// many. One part of the reserve is that interval: √(parts/signoff) times the half-width, and by the
// percentile of t. The other is the difference of the two figures, which has √(1 + parts/signoff)
// times the standard error: of that the 95th percentile of Student's t is kept free (one-sided),
// where a half-width is the 97.5th. With as many, this is 1 + 1.645·√2/1.96 = 2.19 with many
// sequences, 1.70 with two. What the sign-off recordings show counts for nothing here, only how
// many sequences they are.
//
// The interval of later recordings is taken at its mean width. With few sequences it scatters, so
// more than 5 % of the choices that leave no more than this reserve cannot be judged later:
// TestHowOftenTheReserveIsEnough has the shares.
//
// A search picks the cheapest of the networks that seem to leave that room, so the choice seems to
// leave more of it than it does. Of comparisons that decide, see [Inputs.comparisons], each has an
// equal part of the 5 %.
func signoffReach(parts, signoff, percentile, comparisons int) float64 {
	ratio := float64(parts) / float64(signoff)
	return float64(math.Sqrt(ratio)*dataset.Percentiles(parts, percentile)) +
		float64(math.Sqrt(1+ratio)*dataset.OneSided(parts, comparisons))
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
	half bool // used is the share of the figure itself, on the sequences of one fold
}

// isLess reports whether less of the tolerances is used than by another judgement. What was judged
// on one fold alone used more than what was judged on all.
func (j judgement) isLess(than judgement) bool {
	if j.half != than.half {
		return than.half
	}
	return j.used < than.used
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
// sequence says nothing of the others, that has no end: nothing may be cut there. What has the
// interval of its logarithm reaches as far in logarithms.
func (l *Loss) reach() float64 {
	value, high := l.JudgedValue()
	switch {
	case l.Metric == dataset.MaxError:
		return value
	case math.IsNaN(high) && !math.IsNaN(value):
		return math.Inf(1)
	case !l.Relative && l.Metric.IsSkewed() && value > 0:
		return float64(value * portable.Exp(l.signoffReach()*portable.Log(high/value)))
	}
	return value + float64(l.signoffReach()*(high-value))
}

// sequenceCounts are the numbers of sequences of the two sets that a row is about. A region follows
// from recorded outputs, of which the search may know nothing: its row has those of all scenarios.
type sequenceCounts struct{ selection, signoff int }

// countSequences counts the sequences of which a step counts, by scenario; empty: all.
func (in *Inputs) countSequences() map[string]sequenceCounts {
	counts := map[string]sequenceCounts{}
	count := func(rec *dataset.Recordings, add func(c *sequenceCounts)) {
		for _, s := range rec.Sequences {
			if s.Steps <= s.Settle {
				continue
			}
			for _, scenario := range []string{"", s.Scenario} {
				c := counts[scenario]
				add(&c)
				counts[scenario] = c
			}
		}
	}
	count(in.Selection, func(c *sequenceCounts) { c.selection++ })
	count(in.Signoff, func(c *sequenceCounts) { c.signoff++ })
	return counts
}

// sequencesOf returns those of what a row is about.
func (in *Inputs) sequencesOf(s dataset.Slice) sequenceCounts { return in.sequences[s.Scenario] }

// fewestSigned is how many sign-off sequences a row must have to be met. Where it has fewer no
// network can, and the reserve is that of as many as there are selection sequences.
const fewestSigned = 2

// signoffSequences returns the number of sign-off sequences of a row on selection recordings, for a
// region as its share of the sequences would have it.
func (l *Loss) signoffSequences() int {
	if l.counts.signoff < fewestSigned || l.counts.selection == 0 {
		return l.Sequences
	}
	share := float64(l.counts.signoff) / float64(l.counts.selection)
	return max(fewestSigned, int(math.Round(float64(l.Sequences)*share)))
}

// signoffReach is that of a row on selection recordings. A sign-off sequence has as many parts as
// one of these, but from [dataset.BootstrapSequences] on an interval rests on sequences, and so
// does its percentile.
func (l *Loss) signoffReach() float64 {
	parts, sequences := l.independent(), l.signoffSequences()
	each := float64(parts) / float64(max(1, l.Sequences))
	signoff := max(fewestSigned, int(math.Round(each*float64(sequences))))
	percentile := signoff
	if sequences >= dataset.BootstrapSequences {
		percentile = sequences
	}
	return signoffReach(max(1, parts), signoff, percentile, l.comparisons)
}

// muchMore is how many times the reserve must be what as many sign-off as selection sequences would
// need, to be told of (our choice).
const muchMore = 1.25

// warnReserve tells of few sign-off sequences where they make the reserve of the tightest row
// large.
func (r *Result) warnReserve() {
	l := r.Chosen.Tightest()
	if !l.Judged || l.Metric == dataset.MaxError || l.Sequences < 2 {
		return
	}
	alike := l
	alike.counts = sequenceCounts{}
	if times := l.signoffReach() / alike.signoffReach(); times > muchMore {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%s has %d sign-off sequences for %d "+
			"selection sequences, so the reserve is %.1f times what as many would need: with more "+
			"of them more could go", l.Text(), l.signoffSequences(), l.Sequences, times))
	}
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
