// Package lanes runs eight sequences side by side through a float32 copy of a network, for
// searches, and carries derivatives back through them, for training: whatever is found is measured
// again in double precision or integers before it is reported.
//
// A lane is one sequence, or one set of players of a Shapley value. A vector holds one value of
// each of eight lanes.
//
// # What to read first
//
//   - program.go: [Compile] lays out the weights of a network for the kernels
//   - state.go: [State] holds the states of eight sequences, [State.Step] advances all of them
//   - tape.go: [Tape] keeps a segment
//   - backward.go: carries the derivatives of a loss back through it
//   - grid.go: the fixed-point formats that a tape rounds to
//   - ranges.go: [Ranges] keeps the largest magnitudes, from which formats are chosen
//   - matrix.go: the layout of a matrix, and its product with vectors
//   - portable.go and activation.go: the kernels in Go; kernels_amd64.s: the same in assembly
//
// Package dataset brings the sequences into this layout (dataset.Prepare). The integer network has
// lanes of its own, in package quant.
//
// # The kernels
//
// The kernels are products of a matrix with vectors, the activations and their slopes, products and
// sums element by element, and sums of outer products, which are the derivatives by weights. They
// exist twice: in assembly for amd64 with AVX2, written by the program in folder
// generate with avo (make vectors), and in Go for all other processors, on which the integer
// network runs its sequences one by one.
//
// Both kinds of kernel multiply and add apart, round after every operation, and add in the same
// order. Fused multiply-add made loops in registers 6 to 29 % faster on the processor measured
// (make bench, Peak), and a smaller part of a whole step. But the portable code could not give the
// same bits without emulating the instruction, and a search would choose otherwise on another
// machine.
//
// Candidates share no products with the network that they were cut from. Reconstruction changes
// nearly every weight, and of the weights that stay, the product with the inputs alone is less than
// a third of a step.
//
// Processor time on two cores that others used as well, without and with the kernels: kerf demo
// with the plain search 15 and 6 s, kerf rank on the demo without its scores 21 and 2.7 s, with the
// same figures. testdata/benchscore/README.md has steps per second.
//
// # Invariants
//
//   - All processors give the same bits (TestKernelsAgree, TestSameBitsOnEveryMachine,
//     TestSameGradientOnEveryMachine).
//   - Derivatives are within 1e-5 of their root mean square of those in double precision, in the
//     same networks (TestGradientsAgreeWithAutograd, TestGradientAgainstDifferences).
//   - Outputs are within 1e-5 standard deviations of those in double precision, in networks that
//     do not amplify errors (TestStepAgainstModel).
//   - Weights are copied: later changes of the network do not reach a [Program], nor a [Tape]
//     before [Tape.Load].
package lanes

//go:generate sh -c "cd generate && go run . -out ../kernels_amd64.s -stubs ../kernels_amd64_stubs.go -pkg lanes"
