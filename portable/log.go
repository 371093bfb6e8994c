package portable

import "math"

const (
	// ln2High + ln2Low is ln2. An exponent has at most 11 bits and ln2High 41, so that their
	// product is exact.
	ln2High = 0x1.62e42fefa3000p-1
	ln2Low  = 0x1.3de6af278ece6p-42

	// logTerms is the number of terms of the series: (3 - 2√2)^(2·12) / 25 < 2e-20.
	logTerms = 12
)

// Log returns the natural logarithm of x, within 2 units in the last place: NaN below zero,
// -infinity for zero. With x = 2^k·m and s = (m-1)/(m+1) the logarithm is k·ln2 + 2·(s + s³/3 +
// s⁵/5 + ...).
func Log(x float64) float64 {
	switch {
	case x != x || math.IsInf(x, 1):
		return x
	case x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	}
	m, k := math.Frexp(x)
	if m < math.Sqrt2/2 {
		m, k = 2*m, k-1
	}
	f := m - 1
	s := f / (2 + f)
	square := float64(s * s)
	sum := 0.0
	for i := logTerms - 1; i >= 1; i-- {
		sum = float64(square * (1/float64(2*i+1) + sum))
	}
	// 2s = f - s·f, so that the largest term of the logarithm of m is f, which is exact.
	n := float64(k)
	return float64(n*ln2High) + (f - (float64(s*(f-float64(2*sum))) - float64(n*ln2Low)))
}

// Power returns x^n for n >= 0, by repeated squaring.
func Power(x float64, n int) float64 {
	result := 1.0
	for ; n > 0; n >>= 1 {
		if n&1 == 1 {
			result *= x
		}
		x *= x
	}
	return result
}

// cosineTerms is the number of terms of the series: (π/2)^24/24! < 1e-19.
const cosineTerms = 12

// Cos returns the cosine of x for |x| <= π, with an error of at most 2^-50: 2·cos²(x/2) - 1, where
// cos(x/2) is the sum of its series.
func Cos(x float64) float64 {
	square := float64(x * x / 4)
	term, sum := 1.0, 1.0
	for i := 1; i < cosineTerms; i++ {
		term = float64(term * (-square / float64((2*i-1)*(2*i))))
		sum += term
	}
	return float64(2*sum*sum) - 1
}
