package lanes

import "math"

// Both activations follow from e = exp(-a) with a >= 0, so that nothing overflows:
//
//	logistic(x) = 1/(1+e) for x >= 0 and e/(1+e) below, with a = |x|
//	tanh(x)     = (1-e)/(1+e) with the sign of x, with a = 2|x|
//
// a is limited to 87, where e is still a normal float32 (exp(-87) = 2^-125.5).
//
// The exponential is 2^k exp(r) with k the integer next to -a/ln 2 and |r| <= ln 2/2 (W. J. Cody
// and W. Waite, Software Manual for the Elementary Functions, 1980, chapter 6). ln 2 is taken in
// two parts of which the first has 9 significant bits, so that its products with k <= 126 are
// exact. exp(r) is the Taylor polynomial of degree 7, whose remainder is at most (ln 2/2)^8/8! ·
// exp(ln 2/2) = 7.3e-9, less than half a last place of float32 (2^-24 = 6.0e-8). Rounding adds a
// few last places: TestActivationError measures the largest error of all.
const (
	activationLimit = 87
	ln2High         = 355.0 / 512
	ln2Low          = math.Ln2 - ln2High

	// roundMagic is 1.5·2^23. A float32 of that size has a last place of 1, so adding it rounds to
	// an integer, and leaves the integer in the lowest bits.
	roundMagic = 3 << 22

	mantissaBits = 23 // of a float32, without the leading 1 (IEEE 754, binary32)
)

// expNegative returns exp(-a) for a >= 0.
func expNegative(a float32) float32 {
	if activationLimit < a {
		a = activationLimit
	}
	a = -a
	k := float32(float32(math.Log2E*a) + roundMagic)
	whole := k - roundMagic
	r := a - float32(ln2High*whole)
	r -= float32(ln2Low * whole)
	// The order of the terms is that of the assembly: pairs first, for a short chain of operations.
	square := r * r
	c67 := float32(r*(1.0/5040)) + 1.0/720
	c45 := float32(r*(1.0/120)) + 1.0/24
	c23 := float32(r*(1.0/6)) + 1.0/2
	low := float32(c23*square) + (r + 1)
	high := float32(c67*square) + c45
	e := float32(high*float32(square*square)) + low
	return math.Float32frombits(math.Float32bits(e) + math.Float32bits(k)<<mantissaBits)
}

// magnitude returns x without its sign.
func magnitude(x float32) float32 {
	return math.Float32frombits(math.Float32bits(x) &^ (1 << 31))
}

func logistic(x float32) float32 {
	e := expNegative(magnitude(x))
	top := float32(1)
	if math.Signbit(float64(x)) {
		top = e
	}
	return top / (1 + e)
}

func tanh(x float32) float32 {
	a := magnitude(x)
	e := expNegative(a + a)
	t := (1 - e) / (1 + e)
	return math.Float32frombits(math.Float32bits(t) | math.Float32bits(x)&(1<<31))
}
