// Package lanes runs eight sequences side by side through a float32 copy of a network, for
// searches: what it finds is measured again in double precision or integers before anyone reads it.
//
// A vector is one value of each of eight lanes; a lane is one sequence. [Compile] lays the weights
// out for the kernels, [State] holds the states of eight sequences, and [State.Step] advances all
// of them by one time step.
//
// The kernels exist twice: in assembly for amd64 with AVX2 (kernels_amd64.s, written by the program
// in generate) and in Go (portable.go). Both round after every operation and add in the same order,
// so that all machines give the same bits (TestKernelsAgree). What fusing multiply and add would
// gain is in DEVELOPERS.md.
package lanes

//go:generate sh -c "cd generate && go run . -out ../kernels_amd64.s -stubs ../kernels_amd64_stubs.go -pkg lanes"
