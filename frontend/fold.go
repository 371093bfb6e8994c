package frontend

import (
	"math"

	"kerf/portable"
)

// Fold is how the lines of a channel are summed in integers. Samples that stand at the same place
// of a turn have the same factors, so they are added up first: sample n to sum n modulo Length,
// which is N/gcd(N, c). At the end of a window the sums are multiplied by a table of one turn.
type Fold struct {
	Length int  // of the sums
	Each   int  // samples in a sum
	Stride int  // places of the table that the fundamental moves from one sum to the next
	Wide   bool // sums of products have 64 bits, else 32
	Scale  int  // of the table
	Down   int  // bits by which a length is shifted so that it has 30
	Cos    []int16
	Sin    []int16
}

// The largest scale of a table of 16 bits, and the least one with sums of 32 bits, by bits of the
// converter: a table with less is too coarse, and sums have 64 bits (our choice, from the errors of
// rounding a table: 24 parts in a million of the range up to 12 bits, 6 beyond).
const (
	largestScale = math.MaxInt16
	leastScale   = 4096
	finerScale   = 16384
	coarseBits   = 12
)

// newFold returns the sums of a channel. All harmonics that a window tells set the scale of the
// table, so that the integers of a feature are the same whatever other features there are.
func newFold(samples int, c *Channel) *Fold {
	common := gcd(samples, c.Cycles)
	f := &Fold{Length: samples / common, Each: common, Stride: c.Cycles / common}
	// The largest sum of a line: every sample at an end of the codes, with the sign of its factor.
	// A harmonic of which several turns make a turn of the fundamental meets fewer places more
	// often.
	ends := float64(common) * float64(int(1)<<(c.Converter.Bits-1))
	unit := 0.0
	for k := 1; 2*k*c.Cycles < samples; k++ {
		cos, sin := 0.0, 0.0
		f.visit(k, func(at int) {
			cos += math.Abs(turnCos(at, f.Length))
			sin += math.Abs(turnSin(at, f.Length))
		})
		unit = max(unit, cos, sin)
	}
	scale := math.Floor((math.MaxInt32 - float64(ends*float64(f.Length))) / (ends * unit))
	least := float64(leastScale)
	if c.Converter.Bits > coarseBits {
		least = finerScale
	}
	if f.Wide = scale < least; f.Wide || scale > largestScale {
		scale = largestScale
	}
	f.Scale = int(scale)
	for j := range f.Length {
		f.Cos = append(f.Cos, int16(math.Round(turnCos(j, f.Length)*scale)))
		f.Sin = append(f.Sin, int16(math.Round(turnSin(j, f.Length)*scale)))
	}
	length := float64(f.bound(c.Converter.Bits, (samples-1)/2/c.Cycles)) * math.Sqrt2 * turnGain
	f.Down = max(0, bitsOf(length)-sampleBits)
	return f
}

// turnCos returns the cosine of j of n parts of a turn. Like turnSin it leads every place to one of
// the first quarter or eighth of a turn, where there is such a place, so that a rounded table is
// symmetric: the C adds and subtracts the sums that then meet factors of equal amount (fold_pair).
func turnCos(j, n int) float64 {
	switch {
	case 2*j > n:
		return turnCos(n-j, n)
	case n%2 == 0 && 4*j > n:
		return -turnCos(n/2-j, n)
	case n%4 == 0 && 8*j > n:
		return turnSin(n/4-j, n)
	}
	return portable.Cos(2 * math.Pi * float64(j) / float64(n))
}

// turnSin returns the sine of j of n parts of a turn.
func turnSin(j, n int) float64 {
	switch {
	case 2*j > n:
		return -turnSin(n-j, n)
	case n%2 == 0 && 4*j > n:
		return turnSin(n/2-j, n)
	case n%4 == 0 && 8*j > n:
		return turnCos(n/4-j, n)
	}
	return portable.Sin(2 * math.Pi * float64(j) / float64(n))
}

// gcd returns the greatest common divisor of two numbers above 0.
func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// visit calls take with the place of the table for every sum, in their order.
func (f *Fold) visit(k int, take func(at int)) {
	step := f.Stride * k % f.Length
	at := 0
	for range f.Length {
		take(at)
		if at += step; at >= f.Length {
			at -= f.Length
		}
	}
}

// line returns S_k times the scale of the table.
func (f *Fold) line(sums []int32, k int) (re, im int64) {
	i := 0
	f.visit(k, func(at int) {
		re += int64(sums[i]) * int64(f.Cos[at])
		im -= int64(sums[i]) * int64(f.Sin[at])
		i++
	})
	return re, im
}

// bound returns the largest sum of so many lines that any codes can make, proven: every sample at
// an end of the codes, with the sign of its factor.
func (f *Fold) bound(bits, lines int) int64 {
	most := int64(0)
	for k := 1; k <= lines; k++ {
		cos, sin := int64(0), int64(0)
		f.visit(k, func(at int) {
			cos += max(int64(f.Cos[at]), -int64(f.Cos[at]))
			sin += max(int64(f.Sin[at]), -int64(f.Sin[at]))
		})
		most = max(most, cos, sin)
	}
	return most * int64(f.Each) << (bits - 1)
}
