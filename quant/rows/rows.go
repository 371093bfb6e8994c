// Package rows says how the emitted C lays out and reads the rows of a weight matrix, as far as
// this follows from the shape of the matrix: it decides how weights are stored (package
// exporter/emit) and what reading them costs (package budget/cost).
//
// The macros of the compiler choose one of three ways ([Dual], [Bytes], [Three]); the comment of
// exporter/emit/c/rows.c says how each multiplies. In all of them some rows lie and are read
// together, and the rows that are left are read one by one.
package rows

import "math"

// Way is one of the ways in which compilers read rows.
type Way struct {
	Rows     int // that are read together
	Straight int // columns that are read without a loop, at most
	Groups   int // groups of rows in one turn of the loop over them, where columns need no loop
	Kept     int // inputs that the compiler keeps in registers for all rows, at most
}

// The ways. More columns without a loop would need code without being faster where two products
// are added at a time, and registers where three rows are; more groups in a turn likewise.
var (
	// Dual reads two rows and multiplies two pairs of 16-bit numbers at a time.
	Dual = Way{Rows: 2, Straight: 24, Groups: 2, Kept: 8}
	// Bytes reads two rows and multiplies byte by byte.
	Bytes = Way{Rows: 2, Straight: ByteColumns, Groups: 1}
	// Three reads three rows with a 32-bit multiplication.
	Three = Way{Rows: 3, Straight: 6, Groups: 1}
)

// ByteColumns is how many columns of int8 weights a sum of 24 bits holds when each is multiplied
// by a byte: 127 · 255 · 254 < 2^23; a count of them has 8 bits.
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

// Raise is what is added to narrow weights of so many bits so that they have no sign.
func Raise(bits int) int32 { return 1 << (bits - 1) }

// IsRaised reports whether weights of so many bits that are read together are stored raised.
func (w Way) IsRaised(bits int) bool { return bits == 4 || bits == 8 && w == Three }

// Together returns how many of the rows are read in groups. bias is the largest magnitude of a
// bias with the half that rounds the result. Where a sum might not hold raised weights whatever
// the input, |bias| + sum |x| (raise + largest raised weight) with |x| up to 2^15, each row is
// read alone, and so it is where 24 bits might not hold the bytes of two rows.
func (w Way) Together(rows, bits, columns int, bias int64) int {
	if w.IsRaised(bits) && bias+3*int64(Raise(bits))*int64(columns)<<15 > math.MaxInt32 {
		return 0
	}
	if w != Three && bits == 8 && columns > ByteColumns {
		return 0
	}
	return rows / w.Rows * w.Rows
}

// Tail is how many columns of a group of rows are read row by row: int4 columns that fill no group
// of four.
func (w Way) Tail(bits, columns int) int {
	if bits == 4 && w != Three {
		return columns % 4
	}
	return 0
}

// Summed is how many inputs are added up because the weights that they meet are raised.
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

// PerTurn is how many groups of rows one turn of the loop over them reads. isLooped says that the
// columns need a loop.
func (w Way) PerTurn(rows int, isLooped bool) int {
	if !isLooped && rows/w.Rows > 1 {
		return w.Groups
	}
	return 1
}

// Bodies is how many times the code that reads a group of rows stands in the function.
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

// BytePair is the columns that one turn of the loop reads that multiplies byte by byte.
const BytePair = 2

// Pieces are the calls that read the columns of a group of rows, by columns, the widest first: the
// C takes the widest that fits.
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

// Reads is how many loads of weights a call takes that reads so many columns of a group of rows.
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
