package model

import (
	"math"

	"kerf/portable"
)

// SquaredError returns the sum of weight·(y - target)² over steps and outputs, and sets change to
// its derivatives by y. y, target and change are [steps × outputs], weights [outputs].
func SquaredError(y, target, weights, change []float64) float64 {
	sum := 0.0
	for i, v := range y {
		d, w := v-target[i], weights[i%len(weights)]
		sum += float64(w * d * d)
		change[i] = 2 * w * d
	}
	return sum
}

// CrossEntropy returns the sum over steps of the cross-entropy of the shares exp(y)/Σexp(y) against
// the target shares, and sets change to its derivatives by the scores y. y, target and change are
// [steps × classes]; the target shares of a step add up to 1.
func CrossEntropy(y, target []float64, classes int, change []float64) float64 {
	sum := 0.0
	for at := 0; at < len(y); at += classes {
		logSum := Shares(y[at:at+classes], change[at:at+classes])
		for c := at; c < at+classes; c++ {
			sum += float64(target[c] * (logSum - y[c]))
			change[c] -= target[c]
		}
	}
	return sum
}

// Shares sets shares to exp(y)/Σexp(y) and returns log Σexp(y). It subtracts the largest value
// first, so that no exponential overflows.
func Shares(y, shares []float64) (logSum float64) {
	top := math.Inf(-1)
	for _, v := range y {
		top = math.Max(top, v)
	}
	total := 0.0
	for i, v := range y {
		shares[i] = portable.Exp(v - top)
		total += shares[i]
	}
	for i := range shares {
		shares[i] /= total
	}
	return top + portable.Log(total)
}
