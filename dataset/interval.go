package dataset

import (
	"math"
	"sort"
	"sync"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"kerf/portable"
)

// BootstrapSequences is the number of sequences from which on an interval rests on the bootstrap as
// well. On fewer the bootstrap covers far too little (docs/intervals.md), and would only mislead
// where it reaches further than the jackknife.
const BootstrapSequences = 6

// sample is a figure with the values that resampling whole sequences gives for it.
type sample struct {
	value   float64
	leftOut []float64 // without each sequence in turn; none for a largest error
	draws   []float64 // from sequences drawn anew; none where there is no bootstrap
	weights []float64 // of the sequences in the value, each 0 or more

	// widening is 0 for values of either sign. Errors are above 0 and skewed: the jackknife takes
	// their logarithms, and its interval is this many times as wide, see [wideningOf].
	widening float64
}

// wideningOf returns the factor on the interval of the logarithm of an error with which its upper
// end holds the truth in 95 %, also where sequences are very unlike (our own simulation,
// docs/intervals.md). The factor is larger for squared errors, which are far more skewed than
// magnitudes. It is 0 for metrics whose logarithm is not taken.
func wideningOf(m Metric) float64 {
	return map[Metric]float64{RMSE: 1.3, MAE: 1}[m]
}

// IsSkewed reports whether intervals of the metric are those of its logarithm.
func (m Metric) IsSkewed() bool { return wideningOf(m) > 0 }

// interval returns the 95 % interval of the value: that of the jackknife or of the bootstrap, or
// where there are both, the outer end of either. Each by itself holds the truth too seldom where
// sequences are very unlike, and each in other cases (docs/intervals.md).
func (s *sample) interval() (low, high float64) {
	switch {
	case len(s.draws) == 0:
		return s.jackknife()
	case len(s.leftOut) == 0:
		return s.bootstrap()
	}
	low, high = s.jackknife()
	least, most := s.bootstrap()
	return min(low, least), max(high, most)
}

// jackknife returns the interval from leaving out one sequence at a time (Efron and Tibshirani
// 1993, "An introduction to the bootstrap", chapter 11), with Student's t for [effective]
// sequences.
func (s *sample) jackknife() (low, high float64) {
	logs := sample{weights: s.weights}
	for _, v := range s.leftOut {
		if s.widening > 0 && v > 0 {
			logs.leftOut = append(logs.leftOut, portable.Log(v))
		}
	}
	if len(logs.leftOut) < len(s.leftOut) {
		half := s.halfWidth()
		return s.value - half, s.value + half
	}
	factor := portable.Exp(float64(s.widening * logs.halfWidth()))
	return s.value / factor, s.value * factor
}

// halfWidth returns half the width of the jackknife's interval.
func (s *sample) halfWidth() float64 {
	mean, _ := portable.MeanStd(s.leftOut)
	squares, n := 0.0, float64(len(s.leftOut))
	for _, v := range s.leftOut {
		squares += float64((v - mean) * (v - mean))
	}
	return studentsT(effective(s.weights)) * math.Sqrt(squares*(n-1)/n)
}

// bootstrap returns the interval from drawing sequences anew.
//
// It is the bias-corrected and accelerated interval (Efron 1987, "Better bootstrap confidence
// intervals"). Its ends are percentiles of the draws, moved by how far the median of the draws is
// from the value, and by how the standard error changes with the value, as the jackknife shows it.
// Draws from n sequences scatter by the factor sqrt((n-1)/n) too little, and a normal quantile
// takes the standard error as known; so the percentiles begin at sqrt(n/(n-1))·t with n-1 degrees
// of freedom instead of 1.96 (Hesterberg 2015, "What teachers should know about the bootstrap",
// expanded percentiles). n is the number of [effective] sequences.
func (s *sample) bootstrap() (low, high float64) {
	sort.Float64s(s.draws)
	reach := rounded(mathext.NormalQuantile(0.975))
	bias, acceleration := 0.0, 0.0
	if len(s.leftOut) > 0 {
		reach = expanded(effective(s.weights))
		bias, acceleration = rounded(mathext.NormalQuantile(s.below())), s.acceleration()
	}
	end := func(z float64) float64 {
		z += bias
		if left := 1 - float64(acceleration*z); left > 0 {
			z = bias + z/left
		} else {
			z = math.Copysign(math.Inf(1), z) // the outermost draw
		}
		return portable.Quantile(rounded(math.Erfc(-z/math.Sqrt2)/2), s.draws)
	}
	return end(-reach), end(reach)
}

// rounded takes off the last digits of a quantile or probability, in which processors differ.
func rounded(v float64) float64 {
	const digits = 1e10 // our choice: far below the differences that a report shows
	return math.Round(v*digits) / digits
}

// below returns the share of the draws that are below the value, where draws equal to it count by
// half. It keeps half a draw of distance from 0 and 1, whose normal quantiles are infinite.
func (s *sample) below() float64 {
	first := sort.SearchFloat64s(s.draws, s.value)
	behind := sort.Search(len(s.draws), func(i int) bool { return s.draws[i] > s.value })
	n := float64(len(s.draws))
	return min(max(float64(first+behind)/2/n, 0.5/n), 1-0.5/n)
}

// acceleration returns the change of the standard error with the value, by the jackknife (Efron
// 1987, formula 6.6, as in Efron and Tibshirani 1993, formula 14.15; from memory).
func (s *sample) acceleration() float64 {
	mean, _ := portable.MeanStd(s.leftOut)
	squares, cubes := 0.0, 0.0
	for _, v := range s.leftOut {
		d := mean - v
		squares += float64(d * d)
		cubes += float64(d * d * d)
	}
	if !(squares > 0) {
		return 0
	}
	return cubes / (6 * squares * math.Sqrt(squares))
}

// expanded returns how many standard errors of the draws from n sequences the interval reaches to
// either side (Hesterberg 2015, see [sample.bootstrap]).
func expanded(n float64) float64 {
	return math.Sqrt(n/(n-1)) * studentsT(n)
}

// studentsT returns the 97.5th percentile of Student's t with n-1 degrees of freedom.
func studentsT(n float64) float64 {
	return percentiles.of(n, func() float64 {
		return rounded(distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile(0.975))
	})
}

// Percentiles that were computed before: one takes as long as the rest of an interval, and the
// intervals of a job are for few numbers of sequences.
var percentiles, oneSided known

// known holds values of a function by what it is a function of.
type known struct{ values sync.Map }

// of returns the value for n, which compute gives the first time.
func (k *known) of(n any, compute func() float64) float64 {
	if v, ok := k.values.Load(n); ok {
		return v.(float64)
	}
	v := compute()
	k.values.Store(n, v)
	return v
}

// OneSided returns the ratio of the one-sided percentile of Student's t that the best of a number
// of comparisons keeps in 95 %, to the 97.5th, with the degrees of freedom of so many sequences.
// The half-width of an interval is a multiple of the 97.5th. Each comparison has an equal part of
// the 5 % (Bonferroni): with one the percentile is the 95th, and the ratio 0.84 with many
// sequences, 0.50 with two.
func OneSided(sequences, comparisons int) float64 {
	n := max(2, sequences)
	return oneSided.of([2]int{n, comparisons}, func() float64 {
		t := distuv.StudentsT{Sigma: 1, Nu: float64(n - 1)}
		return rounded(t.Quantile(1-0.05/float64(comparisons)) / t.Quantile(0.975))
	})
}

// Percentiles returns the ratio of the 97.5th percentile of Student's t with the degrees of freedom
// of so many later sequences to that of the sequences.
func Percentiles(sequences, later int) float64 {
	return studentsT(float64(max(2, later))) / studentsT(float64(max(2, sequences)))
}

// effective returns the number of equally weighted sequences that weights stand for, (sum of
// weights)²/(sum of their squares), as for any weighted mean (Kish 1965, "Survey sampling"; from
// memory). It is at least 2, because t has hardly an end with fewer.
func effective(weights []float64) float64 {
	const fewest = 2 // Student's t has one degree of freedom
	sum, squares := 0.0, 0.0
	for _, w := range weights {
		sum += w
		squares += float64(w * w)
	}
	if squares == 0 {
		return max(fewest, float64(len(weights)))
	}
	if n := sum * sum / squares; n > fewest {
		return n
	}
	return fewest
}

// RatioInterval returns the ratio of two sums over sequences with its 95 % interval, by the
// jackknife with Student's t. above and below have one value per sequence. The ends are NaN below
// two sequences.
func RatioInterval(above, below []float64) (ratio, low, high float64) {
	sum := func(values []float64, out int) float64 {
		total := 0.0
		for i, v := range values {
			if i != out {
				total += v
			}
		}
		return total
	}
	s := sample{value: sum(above, -1) / sum(below, -1), weights: below}
	if len(above) < 2 {
		return s.value, math.NaN(), math.NaN()
	}
	for i := range above {
		s.leftOut = append(s.leftOut, sum(above, i)/sum(below, i))
	}
	low, high = s.jackknife()
	return s.value, low, high
}
