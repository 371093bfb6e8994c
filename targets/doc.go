// Package targets holds the profiles of microcontroller cores and reads the TOML files of kerf.
//
// A [Profile] says what one instruction of each class costs on a core, with the source of every
// figure, and what is known of the part around the core: clock, memory, flash wait states, power.
// Profiles are data. The package embeds some ([Names], [Load]); [ReadFile] reads a user's own with
// the same code.
//
// Jobs and profiles are TOML files. [StrictDecode] decodes them and gives the place of every
// mistake; the types [Bytes], [Seconds], [Hertz] and so on read quantities with their units.
//
// Files, in the order in which to read them:
//
//   - profile.go: the core, the classes of instructions and their costs
//   - part.go: flash wait states and power of the part around the core
//   - read.go: what a profile must satisfy
//   - builtin.go, write.go: the embedded profiles, and how a profile is written
//   - quantity.go, typed.go, format.go: quantities with units, read and printed
//   - toml.go, strict.go, position.go, depth.go: strict decoding of TOML
//
// # Invariants
//
// Every cost, current, voltage and wait state names its source and says how the figure came from
// that source; a profile without them is refused. Costs assume zero wait states and aligned data:
// what flash adds stands apart ([FlashWait]). Costs are cycles for each instruction of a class, so
// a sum of them is an estimate until it is measured on the device.
//
// A quantity in a file has a unit. In the program, quantities are bytes, seconds, hertz, amperes,
// volts, joules, coulombs and fractions.
//
// Every mistake in a file is a [fault.Error] with line and column.
package targets
