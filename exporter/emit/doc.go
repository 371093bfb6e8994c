// Package emit writes the C of a network: the integer inference, its weights, a self-test with
// recorded steps, a program that times steps on a board, fragments for build systems, and the
// network as JSON, from which the C can be emitted again. [Program.CFiles] is the entry.
//
// # How the emitted C is made
//
// Code that does not depend on the network is C in the folder c, for a network called net: whole
// files, and a template for each kind of layer. [Program] takes the branches that the network
// needs, puts generated text in place of marker comments, and renames net to the name of the job.
// Only code whose form depends on sizes is generated: the step, and all constants.
//
// # How the emitted C reads rows
//
// Package quant/rows says how weights lie and which kernel a core has; the macros of the compiler
// choose. Kernels are assembler in C files (c/rows_*.c, c/tiles_*.c), plain C beside them
// (c/rows_plain.c) is their definition and reads rows elsewhere. NAME_weights.h lists every weight
// once, as the number that it is, in tiles that are calls of macros; c/rows.c has the macros that
// store a tile as a kernel wants it. rows_kernels.go makes a function of a kernel for every number
// of columns, or one for all where the kernel counts tiles itself.
//
// # What to read first
//
//   - program.go: a Program and its files.
//   - template.go: reading the files of c; identifiers.go: names and text from files in C.
//   - header.go: NAME.h. layers.go and step.go: NAME.c, with rows_kernels.go for the code that
//     reads rows.
//   - weights_header.go: NAME_weights.h. weights_biases_shifts.go: its arrays for a matrix.
//     weights_layout.go: the order of weights.
//   - values.go: what encodes physical values, and the ranges of features.
//   - vectors.go and vectors_header.go: the steps of the self-test, NAME_vectors.h.
//   - front_vectors.go: the windows of converter codes in it; front_drawn.go chooses those that
//     are drawn.
//   - check.go: name_check, the CRC of the values and the format hash.
//   - network_json.go and json.go: NAME_network.json. build_files.go: NAME.cmake and NAME.mk.
//
// # Invariants
//
//   - The C gives the integers of package quant, in plain C (TestCAndGoGiveTheSameIntegers) and
//     with every kernel (TestEmulatedCoresGiveTheIntegersOfGo,
//     TestKernelsReadEveryNumberOfColumns).
//   - The same network gives the same bytes: no time, no folder, no order of a map.
//   - Text from files stands in the C only in comments, escaped, or as checked names
//     ([CheckNames]).
//   - A network read from NAME_network.json is checked before it runs ([NetworkFile.Network]).
package emit
