package portable

import (
	"math"
	"math/rand/v2"
)

// Normal draws from the normal distribution of mean 0 and deviation 1: a radius and an
// angle from two uniform numbers (Box and Muller, A Note on the Generation of Random
// Normal Deviates, 1958). That of math/rand has its tails from functions of package
// math, whose last bits differ between processors.
func Normal(random *rand.Rand) float64 {
	radius := math.Sqrt(-2 * Log(1-random.Float64()))
	return float64(radius * Cos(math.Pi*(2*random.Float64()-1)))
}
