// Package quant brings a float network to fixed point and runs it with integers only: the same
// integers that the emitted C computes.
//
// # Order of work
//
// [Calibrate] reads ranges and moments of the float network from selection recordings. [Uniform]
// makes the word widths of a network, [Formats]. [Quantize] chooses fraction bits, rounds the
// weights in one of several ways ([Rounding]) and proves for every row that its accumulator cannot
// overflow. Then [Network.Encode], [Network.Step] and [Network.Decode] run one time step, and
// [Network.PredictAll] runs whole sequences. [Network.Extremes], [Network.Count] and
// [Network.Settle] say how the integer network behaves, [Network.Shape] gives the sizes that its
// cost follows from, and [Network.Check] proves a network that was read from a file.
//
// # What to read first
//
//   - arithmetic.go and table.go: every integer operation, one definition each, under the names
//     that the C has
//   - step.go, layer.go and dense.go: one time step of a network, a recurrent layer, a dense layer
//   - matrix.go and accumulator_bound.go: a weight matrix, its fraction bits, and the proof that
//     its accumulators do not overflow
//   - calibrate.go and network.go: from the float network to the integer network
//   - rounding.go, eligibility.go, even.go and refit.go: the ways of rounding
//   - extremes.go, adversary.go, attacks.go and accumulator_watch.go: the search for the worst
//     inputs
//   - outers.go: the sums of products that moments take most of their time for
//   - lanes.go, lanes_amd64.go and lanelayer_amd64.go: eight sequences side by side
//
// # Invariants
//
//   - A value with f fraction bits is an integer v that stands for v / 2^f. Formats are written as
//     word width and fraction bits; a name that ends in _Q15 or Q15 holds values with 15 fraction
//     bits.
//   - A matrix multiplies int16 values. Accumulators are int32, and no sum wraps: a bound of the
//     magnitude is proven per row, for any input ([Matrix.Bound]).
//   - Sums of products do not depend on order. So lanes, and the kernels of the C, add in the order
//     that suits them and still give the same integers.
//   - Whatever is fitted or chosen here (ranges, rounding, the refit) sees selection recordings
//     only.
//   - A shape that does not fit is a mistake of the caller and panics. A weight that fits no
//     fixed-point row is a [*RangeError].
//
// docs/accuracy.md has what word widths and ways of rounding cost, measured.
package quant
