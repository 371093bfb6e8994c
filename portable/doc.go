// Package portable is the floating-point arithmetic that gives the same bits on
// every processor. IEEE 754 fixes sums, products, quotients and square roots; it
// does not fix
//
//   - exp, tanh and log: package math has assembly for some processors and other
//     code for the rest, which differ in the last bits;
//   - the order of the sums in a product of matrices: linear algebra libraries
//     take as many at once as the processor has lanes;
//   - whether x*y + z is rounded once or twice: the Go compiler fuses it where the
//     processor can, unless the product is converted explicitly (Go specification,
//     "Floating-point operators").
//
// So what a handoff follows from is computed here, or in the calling package by
// the four operations alone. Tests compare the results with package math, with
// exact arithmetic and with gonum, and pin their bits.
package portable
