package portable

import (
	"math"
	"math/big"
)

// The exponential is computed as exp(x) = 2^(n/32)·exp(r) with |r| <= ln2/64. 2^(n/32) is a power
// of two times an entry of the table; exp(r) - 1 is a polynomial, the series up to r^6/6!, whose
// rest r^7/7! is below 4e-18. (The method is Tang's, "Table-driven implementation of the
// exponential function", ACM TOMS 15, 1989, there with a fitted polynomial.)
const (
	tableBits = 5 // our choice: with 32 entries six terms of the series are enough
	tableSize = 1 << tableBits

	perStep = tableSize / math.Ln2 // entries of the table by which x + 1 is further than x

	// stepHigh + stepLow is ln2/32. n has at most 16 bits and stepHigh 32, so that their product is
	// exact.
	stepHigh = 0x1.62e42fee00000p-6
	stepLow  = 0x1.a39ef35793c76p-38

	// roundBias, 1.5·2^52, has 1 as its last place: a number that is added to it is rounded to the
	// nearest whole number, which then stands in the last bits of the sum.
	roundBias = 0x1.8p52

	largestExp  = 710  // exp of more is infinite: ln(2^1024) is 709.8
	smallestExp = -746 // exp of less is 0: ln(2^-1075) is -745.1
)

// powers[j] is 2^(j/32) as the nearest float64, powersLow[j] the rest that this leaves.
var powers, powersLow = makePowers()

// makePowers computes the tables from square roots of 2 with 200 bits, so that every entry is the
// float64 nearest to its value, whatever the processor.
func makePowers() (high, low [tableSize]float64) {
	const bits = 200
	root := big.NewFloat(2).SetPrec(bits)
	for range tableBits {
		root = new(big.Float).SetPrec(bits).Sqrt(root)
	}
	power := big.NewFloat(1).SetPrec(bits)
	for j := range tableSize {
		high[j], _ = power.Float64()
		rest := new(big.Float).SetPrec(bits).Sub(power, big.NewFloat(high[j]))
		low[j], _ = rest.Float64()
		power.Mul(power, root)
	}
	return high, low
}

// reduced splits exp(x) into 2^k·(top + rest), where top is an entry of the table. |x| is at most
// 746.
func reduced(x float64) (k int, top, rest float64) {
	biased := float64(x*perStep) + roundBias
	n := int(int32(uint32(math.Float64bits(biased))))
	steps := biased - roundBias
	r := (x - float64(steps*stepHigh)) - float64(steps*stepLow)
	square := float64(r * r)
	p := r + float64(
		square*((0.5+float64(r*(1.0/6)))+float64(
			square*((1.0/24+float64(r*(1.0/120)))+float64(square*(1.0/720))))))
	top = powers[n&(tableSize-1)]
	return n >> tableBits, top, powersLow[n&(tableSize-1)] + float64(top*p)
}

// power2 returns 2^k, which must be a normal number: k from -1022 to 1023.
func power2(k int) float64 { return math.Float64frombits(uint64(k+1023) << 52) }

// Exp returns e^x, within 1 unit in the last place where the result is a normal number.
func Exp(x float64) float64 {
	switch {
	case x != x:
		return x
	case x > largestExp:
		return math.Inf(1)
	case x < smallestExp:
		return 0
	}
	k, top, rest := reduced(x)
	if k < -1021 || k > 1022 {
		return math.Ldexp(top+rest, k)
	}
	return float64((top + rest) * power2(k))
}

// tanhIsOne is a number from which on tanh rounds to 1: 1 - tanh(20) is 8e-18.
const tanhIsOne = 20

// Tanh returns the hyperbolic tangent of x, within 4 units in the last place. Tanh(-x) is exactly
// -Tanh(x).
func Tanh(x float64) float64 {
	a := math.Abs(x)
	switch {
	case x != x:
		return x
	case a > tanhIsOne:
		return math.Copysign(1, x)
	case a < 0x1p-28: // x - x³/3 rounds to x
		return x
	}
	// tanh(a) = e/(e+2) for e = exp(2a) - 1, computed such that no digits cancel.
	k, top, rest := reduced(2 * a)
	e := (top - 1) + rest
	if k > 0 {
		scale := power2(k)
		e = (float64(top*scale) - 1) + float64(rest*scale)
	}
	return math.Copysign(e/(e+2), x)
}

// TanhAll replaces every value by its [Tanh].
func TanhAll(v []float64) { tanhAll(v) }

// Logistic returns 1/(1+exp(-x)), within 3 units in the last place where the result is a normal
// number. The exponential is that of -|x|, so that it cannot overflow, and for negative x the
// quotient keeps full relative precision.
func Logistic(x float64) float64 {
	if x >= 0 {
		return 1 / (1 + Exp(-x))
	}
	e := Exp(x)
	return e / (1 + e)
}

// LogisticAll replaces every value by its [Logistic].
func LogisticAll(v []float64) { logisticAll(v) }
