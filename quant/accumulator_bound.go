package quant

import "math"

const (
	// maxInt16Magnitude is the largest magnitude of an int16 factor.
	maxInt16Magnitude = 32768

	// AccumulatorLimit is the largest sum that an int32 accumulator holds.
	AccumulatorLimit = math.MaxInt32
)

// accumulatorBound returns the largest magnitude that the sum of a row can reach, whatever the
// inputs: sum |w| · 2^15 + |bias| + half. bias is the magnitude of the bias and of all else that is
// added, half what the rescale adds to round. A row is taken only if its bound is within
// [AccumulatorLimit]; that proves that no input and no state overflows it, since partial sums are
// bounded by the same terms.
func accumulatorBound(words []int32, bias, half int64) int64 {
	sum := int64(0)
	for _, w := range words {
		sum += magnitude(w)
	}
	return sum*maxInt16Magnitude + bias + half
}

// MaxBound returns the largest magnitude that the accumulator of any row can reach.
func (m *Matrix) MaxBound() int64 {
	top := int64(0)
	for _, b := range m.Bound {
		top = max(top, b)
	}
	return top
}
