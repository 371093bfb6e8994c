package dataset

import (
	"math"
	"slices"
)

// Slice selects the steps that a figure is about.
type Slice struct {
	Output   int    // index of the output; of a classifier 0
	Scenario string // empty for all scenarios
	Region   int    // index of the region; -1 for everywhere
}

// Fewest returns the least number of sequences on which a metric is judged. Intervals of errors and
// of their ratios hold from two sequences on (docs/intervals.md). A share of steps needs more,
// because few sequences may not show a rare mistake. A largest error has no interval; that six
// sequences show enough of it is common practice, no source.
func (m Metric) Fewest() int {
	switch m {
	case MaxError, Accuracy, BalancedAccuracy:
		return 6
	case Agreement:
		return 12
	}
	return 2
}

// Comparison holds the figures of two predictors on the same steps.
type Comparison struct {
	// Base and Other are values of the metric: errors in the unit of the output, shares as
	// fractions.
	Base, Other float64
	// Rise is Other/Base - 1 of an error, and Base - Other of a share of steps. It is NaN for the
	// bias and the explained share, and where Base alone is 0.
	Rise                float64
	RiseLow, RiseHigh   float64 // 95 % interval of Rise; NaN where there is no interval
	OtherLow, OtherHigh float64 // 95 % interval of Other; NaN where there is no interval
	Sequences           int     // sequences with at least one step in the slice
	Steps               int     // steps in the slice
	Blocks              int     // blocks that an interval rests on; 0 if both rest on sequences
	BlockSteps          int     // length of a block in time steps
}

// Compare compares the other predictor with the base over one slice. Both must have been measured
// on the same recordings with the same regions.
//
// The interval comes from how unlike the sequences are, because steps within a sequence are not
// independent; below two sequences there is none. It is the jackknife's, with Student's t;
// from [BootstrapSequences] sequences on, each of its ends is the outer one of the jackknife and
// the bootstrap over whole sequences (interval.go). Fewer but long sequences are judged by blocks
// of steps as well where [Recordings.Memory] is known (blocks.go). The random draws are seeded, so
// the same data give the same interval.
func Compare(base, other *Score, slice Slice, metric Metric) Comparison {
	return compare(base, other, slice, metric, true)
}

// CompareRoughly is [Compare] without the bootstrap, in a hundredth of the time. It serves to
// choose what to look at; figures for a report come from Compare.
func CompareRoughly(base, other *Score, slice Slice, metric Metric) Comparison {
	return compare(base, other, slice, metric, false)
}

// compare does what [Compare] does, without the bootstrap if that is not wanted.
func compare(base, other *Score, slice Slice, metric Metric, withBootstrap bool) Comparison {
	pairs, c := paired(base, other, slice, metric)
	c.RiseLow, c.RiseHigh, c.OtherLow, c.OtherHigh = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if c.Sequences < 2 {
		return c
	}
	ofRise, ofOther := pairs.weights()
	rises := figure{sample{value: c.Rise, weights: ofRise},
		func(base, other float64) float64 { return rise(base, other, metric) }}
	others := figure{sample{value: c.Other, weights: ofOther, widening: wideningOf(metric)},
		func(_, other float64) float64 { return other }}
	resampleAll(pairs, metric, withBootstrap, &rises, &others)
	c.OtherLow, c.OtherHigh = others.interval()
	if !math.IsNaN(c.Rise) {
		c.RiseLow, c.RiseHigh = rises.interval()
	}
	if c.Sequences < BootstrapSequences {
		judgeByBlocks(base, other, slice, metric, &c)
	}
	if metric == Explained {
		c.OtherHigh = min(1, c.OtherHigh) // no network explains more than the whole error
	}
	return c
}

// figure is a figure of two predictors with its resampled values; of computes the figure from the
// values of both.
type figure struct {
	sample
	of func(base, other float64) float64
}

// resampleAll fills the samples of figures by the jackknife and the bootstrap, as far as the metric
// allows them.
func resampleAll(p pairs, metric Metric, withBootstrap bool, figures ...*figure) {
	note := func(to func(s *sample) *[]float64) func(base, other float64) {
		return func(base, other float64) {
			for _, f := range figures {
				values := to(&f.sample)
				*values = append(*values, f.of(base, other))
			}
		}
	}
	if metric != MaxError { // a maximum changes only without the one sequence that has it
		p.leaveOut(note(func(s *sample) *[]float64 { return &s.leftOut }))
	}
	if withBootstrap && (p.sequences() >= BootstrapSequences || metric == MaxError) {
		p.resample(note(func(s *sample) *[]float64 { return &s.draws }))
	}
}

// paired compares two predictors over one slice, without intervals.
func paired(base, other *Score, slice Slice, metric Metric) (pairs, Comparison) {
	p := pairsOf(base.members(slice, metric, base), other.members(slice, metric, base), metric)
	c := Comparison{Sequences: p.sequences(), Steps: p.steps()}
	c.Base, c.Other = p.whole()
	c.Rise = rise(c.Base, c.Other, metric)
	return p, c
}

// Value returns the metric of one predictor over one slice, in the unit of [Comparison.Other]. The
// agreement is with base, and the explained share is of the error of base; other metrics ignore
// base.
func (s *Score) Value(base *Score, slice Slice, metric Metric) float64 {
	if metric == Explained {
		_, c := paired(base, s, slice, metric)
		return c.Other
	}
	var sum tally
	for _, t := range s.members(slice, metric, base) {
		sum.merge(t)
	}
	return sum.value(metric)
}

// Sequences returns the number of sequences that have steps in a slice.
func (s *Score) Sequences(slice Slice) int { return len(s.inPieces(slice, "", nil)) }

// members returns one tally per sequence that has steps in a slice.
func (s *Score) members(slice Slice, metric Metric, base *Score) []*tally {
	var members []*tally
	for _, pieces := range s.inPieces(slice, metric, base) {
		members = append(members, merged(pieces))
	}
	return members
}

// inPieces returns, for every sequence that has steps in a slice, the tallies of its pieces.
func (s *Score) inPieces(slice Slice, metric Metric, base *Score) [][]*tally {
	var all [][]*tally
	for i, sequence := range s.rec.Sequences {
		if slice.Scenario != "" && sequence.Scenario != slice.Scenario {
			continue
		}
		pieces := s.piecesOf(i, slice)
		if metric == Agreement {
			pieces = s.agreements(base, i)
		}
		if slices.ContainsFunc(pieces, func(t *tally) bool { return t.steps > 0 }) {
			all = append(all, pieces)
		}
	}
	return all
}

// agreements counts, piece by piece, the steps of a sequence on which a classifier gives the class
// that base gives.
func (s *Score) agreements(base *Score, i int) []*tally {
	pieces := make([]*tally, s.first[i+1]-s.first[i])
	for p := range pieces {
		pieces[p] = &tally{}
	}
	for step := s.rec.Sequences[i].Settle; step < s.rec.Sequences[i].Steps; step++ {
		t := pieces[s.pieceOf(i, step)-s.first[i]]
		t.steps++
		if s.classes[i][step] == base.classes[i][step] {
			t.agreed++
		}
	}
	return pieces
}

// rise returns [Comparison.Rise].
func rise(base, other float64, metric Metric) float64 {
	switch {
	case metric == Bias || metric == Explained:
		return math.NaN()
	case metric == Accuracy || metric == BalancedAccuracy || metric == Agreement:
		return base - other
	case base == other:
		return 0
	case base == 0:
		return math.NaN()
	}
	return other/base - 1
}
