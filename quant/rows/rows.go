// Package rows says how the emitted C lays out and reads the rows of a weight matrix, as far as
// this follows from the shape of the matrix. It decides how weights are stored (package
// exporter/emit) and what reading them costs (package budget/cost).
//
// # How the emitted C reads rows
//
// Some rows lie and are read together, so that an input is loaded once for all of them; the rows
// that are left are read one by one. There are three ways, and the macros of the compiler choose:
//
//   - [Dual], with 16-bit pairs (__ARM_FEATURE_SIMD32): two rows at a time. A pair of int8 weights,
//     one of each row, is a 16-bit number, row 0 + 256 · row 1. One instruction adds the products
//     of two such numbers to a sum of 64 bits, one more adds those of row 0 alone, and at the end
//     row 1 is the difference over 256: four products in three instructions after the load, where
//     widening all weights takes five.
//   - [Bytes], on AVR: two rows in the same layout, every product of two bytes, sums of 24 bits.
//   - [Three], elsewhere: every input is loaded once for three rows. Narrow weights are stored
//     raised, that is, without sign, because Armv6-M loads an unsigned byte with an offset in one
//     instruction and a signed one in two.
//
// The figures that decided are cycles per multiply-accumulate of make bench-target. Compiler flags
// matter as much: at -O2 GCC schedules and combines for other cores than these, so the profiles
// name the flags that run fastest (optimise), and all estimates hold for those.
//
// # Invariants
//
//   - No input, state or weight overflows a sum: [Way.Together] returns 0 where one might.
//   - The columns of a group are those of [Way.Pieces], widest first, and of [Way.Tail].
//
// The layout of the weights in bytes is described in exporter/emit/c/rows.c.
package rows

import "math"

// Way is a way in which the emitted C reads the rows of a matrix.
type Way struct {
	Rows     int // rows of a group, which are read together
	Straight int // the most columns that are read without a loop
	Groups   int // groups in one turn of the loop over them, where columns need no loop
	Kept     int // the most inputs that the compiler keeps in registers for all groups
}

// The ways. More columns without a loop would need code without being faster where two products
// are added at a time, and registers where three rows are read; so would more groups in a turn.
var (
	// Dual reads two rows and multiplies two pairs of 16-bit numbers at a time.
	Dual = Way{Rows: 2, Straight: 24, Groups: 2, Kept: 8}
	// Bytes reads two rows and multiplies byte by byte.
	Bytes = Way{Rows: 2, Straight: ByteColumns, Groups: 1}
	// Three reads three rows with a 32-bit multiplication.
	Three = Way{Rows: 3, Straight: 6, Groups: 1}
)

// ByteColumns is the number of columns of int8 weights that a sum of 24 bits holds when each is
// multiplied by a byte: 127 · 255 · 254 < 2^23. The count of columns has 8 bits.
const ByteColumns = 254

// Of returns the way of an instruction set, named as in targets.Profile.ISA.
func Of(isa string) Way {
	switch isa {
	case "armv7em", "armv8m":
		return Dual
	case "avr":
		return Bytes
	}
	return Three
}

// Raise returns the number that is added to narrow weights of so many bits so that they have no
// sign.
func Raise(bits int) int32 { return 1 << (bits - 1) }

// IsRaised reports whether weights of so many bits that are read together are stored raised.
func (w Way) IsRaised(bits int) bool { return bits == 4 || bits == 8 && w == Three }

// Together returns how many of the rows are read in groups: whole groups, or 0. bias is the largest
// magnitude of a bias with the half that rounds the result. Raised weights are below 2 raise, and
// raise times the sum of the inputs is taken off again; so a sum reaches up to |bias| + 3 raise ·
// columns · 2^15 with inputs down to -2^15. Where that might not fit 32 bits, each row is read
// alone, and so it is where 24 bits might not hold the bytes of two rows.
func (w Way) Together(rows, bits, columns int, bias int64) int {
	if w.IsRaised(bits) && bias+3*int64(Raise(bits))*int64(columns)<<15 > math.MaxInt32 {
		return 0
	}
	if w != Three && bits == 8 && columns > ByteColumns {
		return 0
	}
	return rows / w.Rows * w.Rows
}

// Tail returns how many columns of a group of rows are read row by row: the last int4 columns,
// which are fewer than four.
func (w Way) Tail(bits, columns int) int {
	if bits == 4 && w != Three {
		return columns % 4
	}
	return 0
}

// Summed returns how many inputs are added up because the weights that they meet are raised.
func (w Way) Summed(bits, columns int) int {
	switch {
	case bits == 4 && w == Three:
		return columns / 2 * 2
	case bits == 4:
		return columns / 4 * 4
	case bits == 8 && w == Three:
		return columns
	}
	return 0
}

// PerTurn returns how many groups one turn of the loop over groups reads. rows is the number of
// rows that are read in groups; isLooped says that the columns need a loop.
func (w Way) PerTurn(rows int, isLooped bool) int {
	if !isLooped && rows/w.Rows > 1 {
		return w.Groups
	}
	return 1
}

// Bodies returns how many times the code that reads a group stands in the function: in a turn of
// the loop over groups, and once more for a group that is left. rows and isLooped are as in
// [Way.PerTurn].
func (w Way) Bodies(rows int, isLooped bool) int {
	groups, each := rows/w.Rows, w.PerTurn(rows, isLooped)
	n := 0
	if groups/each > 0 {
		n = each
	}
	if groups%each == 1 {
		n++
	}
	return n
}

// BytePair is the number of columns that one turn of the loop reads that multiplies byte by byte.
const BytePair = 2

// Pieces returns how many columns the calls read that read columns of a group, the widest first:
// the C takes the widest that fits.
func (w Way) Pieces(bits int) []int {
	switch {
	case w == Three && bits == 4:
		return []int{2, 1}
	case w == Three:
		return []int{1}
	case bits == 4:
		return []int{4}
	case w == Bytes && bits == 8:
		return []int{BytePair, 1}
	case bits == 8:
		return []int{4, 2, 1}
	}
	return []int{2, 1}
}

// Reads returns how many loads of weights a call takes that reads so many columns of a group.
func (w Way) Reads(bits, columns int) int {
	switch {
	case w == Three || w == Bytes && bits == 8:
		return w.Rows // of one column, or of two int4 columns in a byte
	case bits == 4:
		return 1 // a word
	case bits == 8 && columns > 1:
		return columns / 2 // words
	}
	return w.Rows
}
