package portable

import (
	"math"
	"math/rand/v2"
)

// Normal draws a number from the normal distribution of mean 0 and standard deviation 1: a radius
// and an angle from two uniform numbers (Box and Muller, A Note on the Generation of Random Normal
// Deviates, 1958). NormFloat64 of math/rand/v2 computes its tails by functions of package math,
// whose last bits differ between processors.
func Normal(random *rand.Rand) float64 {
	u, v := float64(random.Float64()), float64(random.Float64())
	radius := math.Sqrt(-2 * Log(1-u))
	return float64(radius * Cos(math.Pi*(float64(2*v)-1)))
}
