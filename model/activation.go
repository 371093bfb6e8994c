package model

import "math"

// logistic returns 1/(1+exp(-x)). The exponential is taken of -|x| only, so that it cannot overflow, and for negative x the
// quotient keeps full relative precision down to the smallest positive number.
func logistic(x float64) float64 {
	if x >= 0 {
		return 1 / (1 + math.Exp(-x))
	}
	e := math.Exp(x)
	return e / (1 + e)
}
