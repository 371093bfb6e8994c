package dataset

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"kerf/portable"
)

// bootstrap makes a 95 % interval from what resampling whole sequences gives.
//
// The interval is the bias-corrected and accelerated one (Efron 1987, "Better
// bootstrap confidence intervals"): the ends are percentiles of the draws,
// moved by how far the median of the draws is from the value, and by how the
// standard error changes with the value, which the jackknife shows. Draws from n
// sequences scatter by the factor sqrt((n-1)/n) too little, and a normal quantile
// takes the standard error as known; so the percentiles begin at
// sqrt(n/(n-1))·t with n-1 degrees of freedom instead of 1.96 (Hesterberg 2015,
// "What teachers should know about the bootstrap", expanded percentiles). A
// sequence counts by its weight in the value: n is (sum of weights)²/(sum of
// their squares), as for any weighted mean (Kish 1965, "Survey sampling"; from memory).
type bootstrap struct {
	value   float64
	draws   []float64
	leftOut []float64 // the value without each sequence in turn; none for a metric without a derivative
	weights []float64 // of the sequences in the value, 0 or more
}

func (b *bootstrap) interval() (low, high float64) {
	sort.Float64s(b.draws)
	reach := settled(mathext.NormalQuantile(0.975))
	bias, acceleration := 0.0, 0.0
	if len(b.leftOut) > 0 {
		reach = expanded(effective(b.weights))
		bias, acceleration = settled(mathext.NormalQuantile(b.below())), b.acceleration()
	}
	end := func(z float64) float64 {
		z += bias
		if left := 1 - float64(acceleration*z); left > 0 {
			z = bias + z/left
		} else {
			z = math.Copysign(math.Inf(1), z) // the outermost draw
		}
		return portable.Quantile(settled(math.Erfc(-z/math.Sqrt2)/2), b.draws)
	}
	return end(-reach), end(reach)
}

// settled takes off the last digits of a quantile or probability, in which processors differ.
func settled(v float64) float64 {
	const digits = 1e10
	return math.Round(v*digits) / digits
}

// below is the share of the draws below the value, those equal to it by half; never 0 or 1.
func (b *bootstrap) below() float64 {
	first := sort.SearchFloat64s(b.draws, b.value)
	behind := sort.Search(len(b.draws), func(i int) bool { return b.draws[i] > b.value })
	n := float64(len(b.draws))
	return min(max(float64(first+behind)/2/n, 0.5/n), 1-0.5/n)
}

// acceleration by the jackknife (Efron 1987, formula 6.6, as in Efron and Tibshirani 1993, formula 14.15; from memory).
func (b *bootstrap) acceleration() float64 {
	mean, _ := portable.MeanStd(b.leftOut)
	squares, cubes := 0.0, 0.0
	for _, v := range b.leftOut {
		d := mean - v
		squares += float64(d * d)
		cubes += float64(d * d * d)
	}
	if !(squares > 0) {
		return 0
	}
	return cubes / (6 * squares * math.Sqrt(squares))
}

// halfWidth of an interval from the jackknife alone.
func (b *bootstrap) halfWidth() float64 {
	mean, _ := portable.MeanStd(b.leftOut)
	squares, n := 0.0, float64(len(b.leftOut))
	for _, v := range b.leftOut {
		squares += float64((v - mean) * (v - mean))
	}
	return expanded(effective(b.weights)) * math.Sqrt(squares*(n-1)/n) * math.Sqrt((n-1)/n)
}

// expanded is how many standard errors of the draws from n sequences reach from the value to an end of the interval.
func expanded(n float64) float64 {
	t := settled(distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile(0.975))
	return math.Sqrt(n/(n-1)) * t
}

// effective is the number of equally weighted sequences that weights stand for; at least
// fewest, because t with hardly any degree of freedom has no end.
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
	return max(fewest, sum*sum/squares)
}
