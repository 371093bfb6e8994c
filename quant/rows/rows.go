// Package rows says how the emitted C lays out and reads the rows of a weight matrix, as far as
// this follows from the shape of the matrix. It decides how weights are stored (package
// exporter/emit), how many bytes they take (package quant) and what reading them costs (package
// budget/cost).
//
// # How the emitted C reads rows
//
// Rows lie in groups of four, columns in tiles of two: an input is loaded once for four rows, and
// two inputs that lie side by side are a word. Where the rows of a matrix fill no group, or its
// columns no tile, zeros do. A group holds the biases of its rows, its tiles, and the shifts of its
// rows, so that one pointer goes through all of them.
//
// Groups are read by kernels in assembler, one for each family of cores ([Kernel]), and by plain C
// where there is none or where firmware asks for it. What a kernel executes follows from numbers of
// groups and tiles alone: no compiler flag changes it.
//
// # Invariants
//
//   - Sums are taken modulo 2^32 and come out right because quant proves that they fit; no order of
//     the additions, and no weight that is stored raised, can change that.
//   - A tile beyond the last column, and a row beyond the last one, have weights of 0: what is read
//     for them is multiplied by 0.
package rows

import "slices"

const (
	// Group is the number of rows that are read together.
	Group = 4
	// Tile is the number of columns that are read together.
	Tile = 2

	biasBytes  = 4 // int32, of a row
	shiftBytes = 1 // uint8, of a row
)

// Groups returns the number of groups that hold so many rows.
func Groups(rows int) int { return (rows + Group - 1) / Group }

// Filled returns the number of rows of the groups that hold so many rows.
func Filled(rows int) int { return Groups(rows) * Group }

// Tiles returns the number of tiles that hold so many columns.
func Tiles(columns int) int { return (columns + Tile - 1) / Tile }

// Bytes returns the bytes of the groups that hold a matrix with weights of so many bits.
func Bytes(rows, columns, bits int) int {
	return Groups(rows) * (Group*(biasBytes+shiftBytes) + Tiles(columns)*TileBytes(bits))
}

// TileBytes returns the bytes of a tile of weights of so many bits.
func TileBytes(bits int) int { return Group * Tile * bits / 8 }

// Kernel is a way of reading groups.
type Kernel struct {
	Name string // as in the macros of the emitted C and the names of its files
	// Straight is the most tiles that are read without a loop; 0 where one function reads any
	// number of tiles in a loop, and is told how many.
	Straight int
	// Raised lists the widths of weights that are stored without sign, raised by half of their
	// range, so that the sum of the inputs has to be taken off.
	Raised []int
}

// Kernels in assembler. Why rows are read as they are, in cycles of a multiply-accumulate by the
// published timing of a core without what surrounds the products:
//
//   - ARMv7EM: a pair of int8 weights is a 16-bit number, first + 256 · second. One instruction
//     adds the products of two such numbers to a sum of 64 bits, one more those of the first row
//     alone, and the second is the difference over 256: 1.25.
//   - ARMv7M: a load of an input and four of weights in a row, of which only the first has to wait:
//     3.5.
//   - ARMv6M loads an unsigned byte with an offset in one instruction, a signed one in two: 4.6.
//   - RV32IM reads three groups at a time, which have their sums in registers: 4.5.
//   - AVR multiplies byte by byte; weights without sign save extending half of the products: 16.8.
var (
	ARMv7EM = Kernel{Name: "armv7em", Straight: 12, Raised: []int{4}}
	ARMv7M  = Kernel{Name: "armv7m", Straight: 12}
	ARMv6M  = Kernel{Name: "armv6m", Straight: 4, Raised: []int{8, 16}}
	RV32IM  = Kernel{Name: "rv32im"}
	AVR     = Kernel{Name: "avr", Raised: []int{4, 8}}
)

// Plain is how groups are read in plain C: column by column, with one function for each number of
// columns.
var Plain = Kernel{Name: "plain"}

// Kernels are the kernels in assembler in the order in which the emitted C tries them.
var Kernels = []Kernel{ARMv7EM, ARMv7M, ARMv6M, RV32IM, AVR}

// Of returns the kernel of an instruction set, named as in targets.Profile.ISA.
func Of(isa string) Kernel {
	switch isa {
	case "armv7em", "armv8m":
		return ARMv7EM
	case "armv7m":
		return ARMv7M
	case "armv6m":
		return ARMv6M
	case "avr":
		return AVR
	}
	return RV32IM
}

// IsRaised reports whether weights of so many bits are stored raised.
func (k Kernel) IsRaised(bits int) bool {
	return slices.Contains(k.Raised, bits)
}

// Turns returns how a kernel reads the tiles of a group: a loop turns so many times over so many
// tiles each, as many as leave the smallest rest, which follows behind it. Without a loop all are
// rest. Sums that are stored as
// they are, those of a head, are read two tiles at a time: they are few.
func (k Kernel) Turns(bits, columns int, isHead bool) (turns, each, rest int) {
	tiles, most := Tiles(columns), k.Straight
	switch {
	case most == 0:
		return tiles, 1, 0
	case isHead:
		most = 2
	case k.Name == ARMv6M.Name && bits == 4:
		most-- // a jump backwards over four tiles is too far
	}
	if tiles <= most {
		return 0, 0, tiles
	}
	each = most
	for n := most; n > most/2; n-- {
		if tiles%n < tiles%each {
			each = n
		}
	}
	return tiles / each, each, tiles % each
}
