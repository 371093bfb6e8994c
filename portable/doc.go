// Package portable is the floating-point arithmetic that gives the same bits on every processor.
//
// IEEE 754 fixes sums, products, quotients and square roots; it does not fix
//
//   - exp, tanh and log: package math has assembly for some processors and other code for the rest,
//     which differ in the last bits;
//   - the order of the sums in a product of matrices: linear algebra libraries take as many terms
//     at once as the processor has lanes;
//   - whether x*y + z is rounded once or twice: the Go compiler fuses the two operations where the
//     processor can, unless the product is converted explicitly (Go specification, "Floating-point
//     operators").
//
// Figures that decide what is in a handoff are therefore computed here, or in the calling package
// by the four operations and square roots alone.
//
// Files, in any order: exp.go (Exp, Tanh, Logistic), log.go (Log, Power, Cos), normal.go (random
// numbers), cholesky.go (matrices), affine.go (a matrix times a vector), statistics.go. Kernels in
// assembly for amd64 with AVX2, written by the program in folder generate with avo (make vectors),
// do the same operations in the same order.
//
// # Invariants
//
// Every product that is added to or subtracted from something is converted explicitly. No function
// of package math is used whose last bits differ between processors. Tests compare the results with
// package math, with exact arithmetic and with gonum, and pin their bits.
package portable

//go:generate sh -c "cd generate && go run . -out ../kernels_amd64.s -stubs ../kernels_stubs_amd64.go -pkg portable"
