package dataset

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"kerf/portable"
)

// BootstrapSequences is the number of sequences from which on an interval rests on the bootstrap as
// well. On fewer it covers far too little, and could only mislead where it reaches further.
const BootstrapSequences = 6

// sample is a value and what resampling whole sequences gives in its place.
type sample struct {
	value   float64
	leftOut []float64 // without each sequence in turn; none for a metric without a derivative
	draws   []float64 // from sequences drawn anew; none where the bootstrap is not asked
	weights []float64 // of the sequences in the value, 0 or more

	// widening is 0 for values of either sign. Errors are above 0 and skewed: their jackknife is
	// that of their logarithms, this many times as wide, see [wideningOf].
	widening float64
}

// wideningOf is what the interval of an error itself needs, beside Student's t, so that its upper
// end holds the truth in 95 % also where sequences are very unlike (own simulation,
// docs/intervals.md): the squares of errors are far more skewed than their magnitudes.
func wideningOf(m Metric) float64 {
	return map[Metric]float64{RMSE: 1.3, MAE: 1}[m]
}

// interval is the 95 % interval of the value: that of the jackknife, of the bootstrap, or where
// both are there the outer end of either. Each by itself holds the truth too seldom where sequences
// are very unlike each other, and in other cases (docs/intervals.md).
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

// jackknife is the interval that leaving out one sequence at a time gives (Efron and Tibshirani
// 1993, "An introduction to the bootstrap", chapter 11), with Student's t for as many sequences as
// the weights stand for.
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

func (s *sample) halfWidth() float64 {
	mean, _ := portable.MeanStd(s.leftOut)
	squares, n := 0.0, float64(len(s.leftOut))
	for _, v := range s.leftOut {
		squares += float64((v - mean) * (v - mean))
	}
	return studentsT(effective(s.weights)) * math.Sqrt(squares*(n-1)/n)
}

// bootstrap is the interval that drawing sequences anew gives.
//
// It is the bias-corrected and accelerated one (Efron 1987, "Better
// bootstrap confidence intervals"): the ends are percentiles of the draws,
// moved by how far the median of the draws is from the value, and by how the
// standard error changes with the value, which the jackknife shows. Draws from n
// sequences scatter by the factor sqrt((n-1)/n) too little, and a normal quantile
// takes the standard error as known; so the percentiles begin at
// sqrt(n/(n-1))·t with n-1 degrees of freedom instead of 1.96 (Hesterberg 2015,
// "What teachers should know about the bootstrap", expanded percentiles). A
// sequence counts by its weight in the value, see [effective].
func (s *sample) bootstrap() (low, high float64) {
	sort.Float64s(s.draws)
	reach := settled(mathext.NormalQuantile(0.975))
	bias, acceleration := 0.0, 0.0
	if len(s.leftOut) > 0 {
		reach = expanded(effective(s.weights))
		bias, acceleration = settled(mathext.NormalQuantile(s.below())), s.acceleration()
	}
	end := func(z float64) float64 {
		z += bias
		if left := 1 - float64(acceleration*z); left > 0 {
			z = bias + z/left
		} else {
			z = math.Copysign(math.Inf(1), z) // the outermost draw
		}
		return portable.Quantile(settled(math.Erfc(-z/math.Sqrt2)/2), s.draws)
	}
	return end(-reach), end(reach)
}

// settled takes off the last digits of a quantile or probability, in which processors differ.
func settled(v float64) float64 {
	const digits = 1e10
	return math.Round(v*digits) / digits
}

// below is the share of the draws below the value, those equal to it by half; never 0 or 1.
func (s *sample) below() float64 {
	first := sort.SearchFloat64s(s.draws, s.value)
	behind := sort.Search(len(s.draws), func(i int) bool { return s.draws[i] > s.value })
	n := float64(len(s.draws))
	return min(max(float64(first+behind)/2/n, 0.5/n), 1-0.5/n)
}

// acceleration by the jackknife (Efron 1987, formula 6.6, as in Efron and Tibshirani 1993, formula
// 14.15; from memory).
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

// expanded is how many standard errors of the draws from n sequences reach from the value to an end
// of the interval.
func expanded(n float64) float64 {
	return math.Sqrt(n/(n-1)) * studentsT(n)
}

// studentsT is the 97.5th percentile of Student's t with n-1 degrees of freedom.
func studentsT(n float64) float64 {
	return settled(distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile(0.975))
}

// OneSided is how far the 95th percentile of Student's t lies beside the 97.5th, to which the half
// of an interval of so many sequences reaches: 0.84 with many, 0.50 with two.
func OneSided(sequences int) float64 {
	t := distuv.StudentsT{Sigma: 1, Nu: float64(max(2, sequences) - 1)}
	return settled(t.Quantile(0.95) / t.Quantile(0.975))
}

// effective is the number of equally weighted sequences that weights stand for, (sum of
// weights)²/(sum of their squares), as for any weighted mean (Kish 1965, "Survey sampling"; from
// memory). It is at least fewest, because t with hardly any degree of freedom has no end.
func effective(weights []float64) float64 {
	const fewest = 2
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

// RatioInterval is the ratio of two sums over sequences with its 95 % interval, by the jackknife
// with Student's t; the interval is not a number below two sequences.
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
