// Package measure compiles the C of a network for a core and measures it: flash and RAM from linked
// images, stack from the compiler's own account and from a painted stack, cycles from the
// instructions that an emulated core executes.
//
// The package imports nothing of kerf but targets, and of the C it knows the interface only. So it
// measures any C with that interface: testdata/benchtarget has a float network, and
// testdata/kernels measures with this package for the fit of the cost estimate.
//
// # Files, in the order in which to read them
//
// [Network] in measure.go does the whole of it, in five steps:
//
//  1. toolchain.go finds the cross compiler and the emulator of the profile's instruction set.
//  2. build.go compiles and links three programs with the small board of folder board: an empty
//     one, the same with the network and one state beside it, and one that runs steps.
//  3. image.go reads sections and symbols; what the network adds is the difference between the
//     first two programs.
//  4. stack.go follows the calls from the step. The frames are the compiler's (-fstack-usage);
//     those of library routines follow from what the routines push.
//  5. run.go runs the third program in QEMU. qemu.go reads QEMU's log of executed blocks of
//     instructions and cost.go gives each instruction the cost of its class in the profile (arm.go
//     and riscv.go know the classes). On avr the program runs in simavr, and simavr.go takes
//     simavr's own cycle counter.
//
// longest.go then searches for inputs whose step takes longest, if [Options] ask for that.
//
// # Cost of an instruction
//
// Every executed instruction has a class and with it the cost of the profile. What the manuals say
// about neighbours counts too: loads that chain, an address or a float that the instruction in
// front has just computed, branches by where they go. An instruction without a class, or a class
// without a cost, is an error: nothing is free because it is not known.
//
// Cycles are those of the profile's table; QEMU gives the order of instructions and no time. The
// package does not see:
//
//   - whether an instruction of an IT block is skipped: all count as executed, which is right for
//     the instructions that take one cycle either way, and too much for the few that do not;
//   - multiplications and divisions that end early (Cortex-M3): they count in full;
//   - alignment of branch targets, flash wait states, bus conflicts: they are left out, as in the
//     profiles;
//   - pairs of instructions and forwarding on Cortex-M7: the costs are throughputs, measured by
//     others.
//
// # How the measurement is checked
//
// The tests add up short loops by hand from the manuals, run the same loops in the emulators, and
// compare straight-line code with llvm-mca. On avr simavr's counter agrees with the cycles that
// avr-libc publishes. "make emulate" runs them.
package measure
