// Package measure compiles the C of a network for a core and measures it: flash and RAM from linked
// images, stack from the compiler's own account and from a painted stack, cycles from the
// instructions that an emulated core executes.
//
// [Network] does the whole of it, in five steps:
//
// 1. toolchain.go finds the cross compiler and the emulator of the profile's instruction set. 2.
// build.go compiles and links three programs with the small board of folder board: an empty one,
// the same with the
//
//	network and one state beside it, and one that runs steps.
//
// 3. image.go reads sections and symbols; what the network adds is the difference of the first two.
// 4. stack.go follows the calls from the step; the frames are the compiler's (-fstack-usage), those
// of library
//
//	routines follow from what they push.
//
// 5. run.go runs the third program: qemu.go reads QEMU's log of executed instructions and cost.go
// weights each with
//
//	the cost of its class in the profile (arm.go and riscv.go know the classes); simavr.go takes the simulator's
//	own cycle counter.
//
// What the figures mean: cycles are those of the profile's table, so flash wait states and effects
// that the table leaves out are left out here too. QEMU gives the order of instructions and no
// time. A conditional instruction counts as executed, which is right for all that take one cycle
// either way and too much for the few that do not. Multiplications that end early count in full.
package measure
