package dataset

import (
	"math"
	"math/rand/v2"
	"sort"

	"kerf/portable"
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

// resamples is the number of times the sequences are drawn anew: the ends of a
// 95 % interval then lie at the 50th value from either end, where more draws
// move them by far less than the width of the interval.
const resamples = 2000

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

// Compare pairs base and other over one slice. The interval is the percentile
// bootstrap over whole sequences (Efron and Tibshirani 1993, chapter 13): steps
// within a sequence are not independent, so sequences are what is drawn. There
// is none below two sequences. The draws are seeded: same data, same interval.
func Compare(base, other *Score, slice Slice, metric Metric) Comparison {
	a, b := base.members(slice), other.members(slice)
	if metric == Agreement {
		a, b = agreements(base, base, slice), agreements(base, other, slice)
	}
	var sumA, sumB tally
	for i := range a {
		sumA.merge(a[i])
		sumB.merge(b[i])
	}
	c := Comparison{Base: sumA.value(metric), Other: sumB.value(metric), Sequences: len(a), Steps: sumA.steps}
	c.Rise = rise(c.Base, c.Other, metric)
	c.RiseLow, c.RiseHigh, c.OtherLow, c.OtherHigh = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if len(a) < 2 {
		return c
	}
	random := rand.New(rand.NewPCG(uint64(len(a)), 0x6b657266)) // "kerf"
	rises := make([]float64, resamples)
	others := make([]float64, resamples)
	for r := range rises {
		sumA, sumB = tally{}, tally{}
		for range a {
			i := random.IntN(len(a))
			sumA.merge(a[i])
			sumB.merge(b[i])
		}
		others[r] = sumB.value(metric)
		rises[r] = rise(sumA.value(metric), others[r], metric)
	}
	c.OtherLow, c.OtherHigh = interval(others)
	if !math.IsNaN(c.Rise) {
		c.RiseLow, c.RiseHigh = interval(rises)
	}
	return c
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

func interval(values []float64) (low, high float64) {
	sort.Float64s(values)
	return portable.Quantile(0.025, values), portable.Quantile(0.975, values)
}
