package dataset

import (
	"math"
)

// Slice selects the steps that a figure is about.
type Slice struct {
	Output   int    // index of the output
	Scenario string // empty means all scenarios
	Region   int    // index of the region, -1 means everywhere
}

// MinSequences is the least number of sequences for which a verdict is given.
// If n independent pairs all differ in the same direction, a distribution-free
// two-sided test still has p = 2·(1/2)^n; that is below 5 % only from n = 6 on.
const MinSequences = 6

// Comparison pairs two predictors on the same steps.
type Comparison struct {
	Base, Other float64 // values of the metric, in the unit of the output
	Rise        float64 // Other/Base - 1, for classifiers Base - Other; NaN where Base is 0 and for the bias
	RiseLow     float64 // 95 % interval of Rise; NaN where there is no interval
	RiseHigh    float64
	OtherLow    float64 // 95 % interval of Other; NaN where there is no interval
	OtherHigh   float64
	Sequences   int // sequences with at least one step in the slice
	Steps       int // steps in the slice
}

// Compare pairs base and other over one slice. The interval comes from drawing
// whole sequences anew, see [bootstrap]: steps within a sequence are not
// independent. There is none below two sequences. The draws are seeded: same
// data, same interval.
func Compare(base, other *Score, slice Slice, metric Metric) Comparison {
	pairs, c := paired(base, other, slice, metric)
	c.RiseLow, c.RiseHigh, c.OtherLow, c.OtherHigh = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if c.Sequences < 2 {
		return c
	}
	ofRise, ofOther := pairs.weights()
	rises, others := bootstrap{value: c.Rise, weights: ofRise}, bootstrap{value: c.Other, weights: ofOther}
	note := func(to func(b *bootstrap) *[]float64) func(base, other float64) {
		return func(base, other float64) {
			r, o := to(&rises), to(&others)
			*r, *o = append(*r, rise(base, other, metric)), append(*o, other)
		}
	}
	pairs.resample(note(func(b *bootstrap) *[]float64 { return &b.draws }))
	if metric != MaxError { // the jackknife of a maximum is that of one sequence
		pairs.leaveOut(note(func(b *bootstrap) *[]float64 { return &b.leftOut }))
	}
	c.OtherLow, c.OtherHigh = others.interval()
	if !math.IsNaN(c.Rise) {
		c.RiseLow, c.RiseHigh = rises.interval()
	}
	return c
}

// CompareRoughly is [Compare] in a hundredth of the time: intervals are symmetric, Student's t times the standard error that the
// jackknife over sequences gives. It is for choosing what to look at; what anyone reads comes from Compare.
func CompareRoughly(base, other *Score, slice Slice, metric Metric) Comparison {
	pairs, c := paired(base, other, slice, metric)
	c.RiseLow, c.RiseHigh, c.OtherLow, c.OtherHigh = c.Rise, c.Rise, c.Other, c.Other
	if c.Sequences < 2 || metric == MaxError {
		return c
	}
	var rises, others bootstrap
	pairs.leaveOut(func(base, other float64) {
		rises.leftOut, others.leftOut = append(rises.leftOut, rise(base, other, metric)), append(others.leftOut, other)
	})
	rises.weights, others.weights = pairs.weights()
	r, o := rises.halfWidth(), others.halfWidth()
	c.RiseLow, c.RiseHigh, c.OtherLow, c.OtherHigh = c.Rise-r, c.Rise+r, c.Other-o, c.Other+o
	return c
}

// paired compares both over one slice, without intervals.
func paired(base, other *Score, slice Slice, metric Metric) (pairs, Comparison) {
	a, b := base.members(slice), other.members(slice)
	if metric == Agreement {
		a, b = agreements(base, base, slice), agreements(base, other, slice)
	}
	p := pairsOf(a, b, metric)
	c := Comparison{Sequences: len(a), Steps: p.steps()}
	c.Base, c.Other = p.whole()
	c.Rise = rise(c.Base, c.Other, metric)
	return p, c
}

// agreements tallies on how many steps a classifier gives the class of base.
func agreements(base, other *Score, slice Slice) []*tally {
	var all []*tally
	for i, sequence := range base.rec.Sequences {
		if slice.Scenario != "" && sequence.Scenario != slice.Scenario {
			continue
		}
		t := &tally{steps: sequence.Steps}
		for step, class := range base.classes[i] {
			if other.classes[i][step] == class {
				t.agreed++
			}
		}
		all = append(all, t)
	}
	return all
}

// Value is the metric of one predictor over one slice; an agreement is with base.
func (s *Score) Value(base *Score, slice Slice, metric Metric) float64 {
	var sum tally
	members := s.members(slice)
	if metric == Agreement {
		members = agreements(base, s, slice)
	}
	for _, t := range members {
		sum.merge(t)
	}
	return sum.value(metric)
}

func (s *Score) members(slice Slice) []*tally {
	var members []*tally
	for i, sequence := range s.rec.Sequences {
		if slice.Scenario != "" && sequence.Scenario != slice.Scenario {
			continue
		}
		if t := s.at(i, slice.Output, slice.Region); t.steps > 0 {
			members = append(members, t)
		}
	}
	return members
}

func rise(base, other float64, metric Metric) float64 {
	switch {
	case metric == Bias:
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
