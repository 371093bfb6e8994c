package frontend

import (
	"math"
	"math/bits"
)

// The integer routines of a front end. The C computes the same integers.

// turns is how many steps [polar] turns a vector. The last one moves the angle by 2^-14 rad.
// Lengths are taken after lengthTurns of them: the angle that is left is below 2^-8, and what a
// length lacks by it below 2^-17.
const (
	turns       = 15
	lengthTurns = 9
)

// turnAngles are the arctangents of 2^-i in 2^-32 of a turn, rounded: math.Atan is right in far
// more digits than these have.
var turnAngles = func() (angles [turns]int32) {
	for i := range angles {
		angles[i] = int32(math.Round(math.Atan(math.Ldexp(1, -i)) / (2 * math.Pi) * (1 << 32)))
	}
	return angles
}()

// TurnAngles returns the arctangents of 2^-i in 2^-32 of a turn, as the C has them, and after how
// many turns the length is taken.
func TurnAngles() (angles []int32, length int) { return turnAngles[:], lengthTurns }

// turnGain is how many times longer a vector is when its length is taken: the product of
// sqrt(1 + 2^-2i).
var turnGain = func() float64 {
	gain := 1.0
	for i := range lengthTurns {
		gain *= math.Sqrt(1 + math.Ldexp(1, -2*i))
	}
	return gain
}()

// polarBits is how many bits the larger part of a vector has when [polar] turns it: with the gain
// and the diagonal, 1.65·√2, its length stays below 2^31 also where a part is -2^29.
const polarBits = 29

// polar returns magnitude·2^shift·[turnGain] of a vector and its angle in 2^-32 of a turn. A vector
// of which both parts are 0 or -1 has magnitude and angle 0. It turns the vector onto the axis of
// re in steps of which the tangents are powers of two (Volder 1959, "The CORDIC trigonometric
// computing technique"). The parts are of 32 bits or, where sums are, of 64.
func polar(re, im int64) (magnitude uint32, shift int, angle int32) {
	// the size of the larger part, to a bit: of a negative number one less than its amount
	size := (re ^ re>>63) | (im ^ im>>63)
	if size == 0 {
		return 0, 0, 0
	}
	if shift = polarBits - bits.Len64(uint64(size)); shift >= 0 {
		re, im = re<<shift, im<<shift
	} else {
		re, im = re>>-shift, im>>-shift
	}
	x, y := int32(re), int32(im)
	turned := uint32(0)
	if x < 0 { // half a turn
		x, y, turned = -x, -y, 1<<31
	}
	for i := range turns {
		if i == lengthTurns {
			magnitude = uint32(x)
		}
		dx, dy := y>>i, x>>i
		if y > 0 {
			x, y, turned = x+dx, y-dy, turned+uint32(turnAngles[i])
		} else {
			x, y, turned = x-dx, y+dy, turned-uint32(turnAngles[i])
		}
	}
	return magnitude, shift, int32(turned)
}

// shifted returns v·2^-shift rounded to the nearest whole number, half upwards; the result fits.
func shifted(v uint32, shift int) uint32 {
	if shift <= 0 {
		return v << -shift
	}
	if shift > 32 {
		return 0
	}
	return uint32((uint64(v) + 1<<(shift-1)) >> shift)
}

// root returns the square root of v, rounded to the nearest whole number.
func root(v uint64) uint32 {
	r, rest := uint64(0), v
	for bit := uint64(1) << 62; bit != 0; bit >>= 2 {
		if next := r + bit; rest >= next {
			rest -= next
			r = r>>1 + bit
		} else {
			r >>= 1
		}
	}
	if rest > r && r < math.MaxUint32 { // v > r² + r, so v >= (r + 1/2)²
		r++
	}
	return uint32(r)
}

// root32 is [root] of 32 bits.
func root32(v uint32) uint32 { return root(uint64(v)) }

// ratioBits is how many fraction bits a [ratio] has.
const ratioBits = 16

// ratio returns a/b with [ratioBits] fraction bits, of which the first quotientBits count, at most
// 2^30-1, which is also what a/0 is. It needs no division, which small cores lack.
func ratio(a, b uint32) int32 {
	const quotientBits = 16
	const most = 1<<sampleBits - 1
	switch {
	case a == 0:
		return 0
	case b == 0:
		return most
	}
	down := bits.LeadingZeros32(a) - bits.LeadingZeros32(b) + quotientBits - 1 - ratioBits
	// both with 31 bits, so what is left fits when it is doubled
	rest := a << bits.LeadingZeros32(a) >> 1
	b = b << bits.LeadingZeros32(b) >> 1
	quotient := uint32(0)
	for range quotientBits {
		quotient <<= 1
		if rest >= b {
			rest -= b
			quotient++
		}
		rest <<= 1
	}
	if bits.Len32(quotient)-down > sampleBits {
		return most
	}
	return int32(shifted(quotient, down))
}

// notMinusPi returns an angle in 2^-32 of a turn, of -π the largest one: there is no -π.
func notMinusPi(angle int32) int32 {
	if angle == math.MinInt32 {
		return math.MaxInt32
	}
	return angle
}
