package dataset

import (
	"math"

	"kerf/portable"
)

// unlikeStart is the ratio of root mean square errors from which the start of sequences counts as
// unlike the rest. Our choice: a smaller difference hardly moves the error over all steps.
const unlikeStart = 1.25

// UnlikeStart returns how many first steps of sequences have errors unlike the errors of the rest.
// squares are the squared errors of a predictor [sequences][steps]. The first half of every
// sequence is taken in spans that double in length, and each span is compared with the second
// halves: it is unlike where the root mean square differs by a quarter or more, in either
// direction, and the 95 % interval over sequences excludes no difference. The result is the end of
// the last span in the unbroken series of unlike spans from the first step on. It is 0 where the
// first step is like the rest, and where there are fewer than two sequences.
func UnlikeStart(squares [][]float64) int {
	end := 0
	for from, to := 0, 1; isUnlike(squares, from, to); from, to = to, 2*to {
		end = to
	}
	return end
}

// isUnlike compares the steps of a span with the second half of every sequence whose first half
// holds the span.
func isUnlike(squares [][]float64, from, to int) bool {
	var span, rest []float64
	for _, s := range squares {
		if to > len(s)/2 {
			continue
		}
		span, rest = append(span, meanOf(s[from:to])), append(rest, meanOf(s[len(s)/2:]))
	}
	n := len(span)
	if n < 2 {
		return false
	}
	ratio := func(out int) float64 {
		a, b := 0.0, 0.0
		for i := range span {
			if i != out {
				a, b = a+span[i], b+rest[i]
			}
		}
		return portable.Log(a / b)
	}
	s := sample{value: ratio(-1), weights: rest}
	for i := range span {
		s.leftOut = append(s.leftOut, ratio(i))
	}
	low, high := s.jackknife()
	least := portable.Log(unlikeStart * unlikeStart)
	return math.Abs(s.value) >= least && (low > 0 || high < 0)
}

func meanOf(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}
