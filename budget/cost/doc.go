// Package cost estimates what a network takes on a processor core: cycles of a step, code and
// stack. An estimate is a pure function of a [quant.Shape] and a [targets.Profile]: [Of].
//
// # How cost is estimated
//
// The emitted C keeps its functions apart (NET_APART): one for each block of rows, one for each
// layer, one for the step. So cost is counted, measured and fitted function by function.
//
// Functions are counted in kernels, the pieces that the emitted C is made of: how often each kernel
// runs in a step, and how often its code stands in the function. kernels.toml holds, for each
// instruction set, how many instructions of each class one run of a kernel executes, the bytes of
// its code, and the stack of every function. These figures are fitted to 115 networks that were
// measured on emulated cores (testdata/kernels has the raw measurements and the fit). A profile of
// package targets gives the cycles of each instruction class with their source. Cycles are the
// product; the parts of the cost table are the functions.
//
// docs/cost.md lists how far sums and parts are off on 30 networks that had no part in the fit:
// whole steps by at most 5.0 %. Reading rows is done by kernels in assembler, whose counts the fit
// finds exactly where nothing compiled is in the function.
//
// Two things besides sizes and word widths decide the time of a step. [quant.Shifts] carries what
// follows from the ranges of a calibrated network: limits in front of the tanh table, and shifts
// bit by bit on AVR. Candidates of the search are not calibrated: typical shifts stand in for
// theirs, and the chosen candidate is priced again with its own.
//
// What flash adds is a change of the costs of a core (targets.Profile.WithMemory): fetch cycles for
// every instruction, jump more for a taken branch, call or return, data more for a constant read
// from flash. The three are means, so that a prefetch buffer or a cache is a smaller figure and no
// model of its own; built-in profiles are cores and have none. With the weights in RAM a constant
// costs a load from RAM. The difference to the costs without waits is the part [FlashWait].
//
// # Costs from a board
//
// [FitProfile] finds the costs of instruction classes from steps that were timed on a board
// ([ReadBoardLines]). It gets the count of each class by pricing a core on which that class takes
// one cycle and the others none.
//
// # What to read first
//
// estimate.go (Of), functions.go (the functions of a step), matrices.go, rows.go and layers.go (the
// kernels of each), kernel.go (names and stand-ins of kernels), kernels.go (the
// figures), stack.go; then shape.go (shapes as text), board.go and fit.go.
//
// # Invariants
//
//   - Cycles are linear in the costs of a profile (TestClassCountsAddUp), which FitProfile needs.
//   - Every profile has figures for every network (TestAnyNetworkHasAnEstimate).
//   - Sums are in a fixed order, so that they are rounded the same in each run.
//   - The counted tiles are those of the emitted kernels (TestBudgetCountsTheEmittedTiles in
//     exporter/emit).
package cost
