package portable

import "math"

// arcParts is how many parts the arctangents from 0 to π/4 are cut into; arcTerms is how many terms
// of the series a part takes: the first one left out is (1/16)^23/23 < 2^-96.
const (
	arcParts = 8
	arcTerms = 11
)

// arcs are the arctangents of i/arcParts.
var arcs = func() (arcs [arcParts + 1]float64) {
	for i := 1; i <= arcParts; i++ {
		// atan(a) - atan(b) = atan((a - b)/(1 + ab)), with a = i/n and b = (i-1)/n
		arcs[i] = arcs[i-1] + arcSeries(float64(arcParts)/float64(arcParts*arcParts+i*(i-1)))
	}
	return arcs
}()

// arcSeries returns the arctangent of x by its series, for |x| up to 1/8.
func arcSeries(x float64) float64 {
	square := float64(x * x)
	sum := 0.0
	for i := arcTerms; i > 0; i-- {
		sum = 1/float64(2*i-1) - float64(square*sum)
	}
	return float64(x * sum)
}

// Atan2 returns the angle of the point (x, y) in (-π, π], and 0 for (0, 0), with an error of at
// most 2^-50. Both are finite, and neither is so large or small that their quotient is not.
func Atan2(y, x float64) float64 {
	least, most := math.Abs(y), math.Abs(x)
	steep := least > most
	if steep {
		least, most = most, least
	}
	if most == 0 {
		return 0
	}
	slope := least / most
	part := math.Floor(float64(slope*arcParts) + 0.5)
	at := float64(part / arcParts)
	angle := arcs[int(part)] + arcSeries((slope-at)/(1+float64(slope*at)))
	if steep {
		angle = math.Pi/2 - angle
	}
	if x < 0 {
		angle = math.Pi - angle
	}
	if y < 0 && angle < math.Pi {
		angle = -angle
	}
	return angle
}

// Sin returns the sine of x for -π/2 <= x <= π, with an error of at most 2^-49.
func Sin(x float64) float64 { return Cos(math.Pi/2 - x) }
