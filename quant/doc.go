// Package quant brings a float network to fixed point and runs it with integers
// only: the same integers that the emitted C computes.
//
// The order of work is: [Calibrate] reads the ranges from selection recordings,
// [Quantize] chooses fraction bits, rounds the weights and proves for every row
// that its accumulator cannot overflow, and [Network.Step] runs one time step.
// All integer arithmetic stands in arithmetic.go, one definition per operation,
// under the names that the C has.
//
// Formats are written as word width and fraction bits; a name that ends in _Q15
// holds values with 15 fraction bits.
package quant
