package budget

import (
	"math"
	"strconv"

	"kerf/model"
)

// The emitted C reads the rows of a matrix in one of three ways (exporter/emit/c/rows.c). The
// constants below agree with exporter/emit/reading.go and layout.go;
// TestEstimatesAgreeWithTheEmittedC compares both.
type way struct {
	rows     int // read together
	straight int // columns that are read without a loop, at most
	groups   int // groups of rows in one turn of the loop over them, where columns need none
	kept     int // inputs that the compiler keeps in registers for all rows, at most
}

var (
	dualWay  = way{rows: 2, straight: 24, groups: 2, kept: 8}
	byteWay  = way{rows: 2, straight: 254, groups: 1}
	threeWay = way{rows: 3, straight: 6, groups: 1}
)

func wayOf(isa string) way {
	switch isa {
	case "armv7em", "armv8m":
		return dualWay
	case "avr":
		return byteWay
	}
	return threeWay
}

// runs counts how often each kernel of the emitted C runs, or how often each part of its code
// stands there.
type runs map[string]float64

func (r runs) add(kernel string, n int) {
	if n != 0 {
		r[kernel] += float64(n)
	}
}

// pieces are the calls that read the columns of a group of rows, by columns: the emitted C takes
// the widest that fits.
func (w way) pieces(bits int) []int {
	switch {
	case w == threeWay && bits == 4:
		return []int{2, 1}
	case w == threeWay:
		return []int{1}
	case bits == 4:
		return []int{4}
	case w == byteWay && bits == 8:
		return []int{bytePair, 1}
	case bits == 8:
		return []int{4, 2, 1}
	}
	return []int{2, 1}
}

// block counts what the function takes that reads a block of rows. Kernels: "rows" per call; "sum"
// per call whose inputs are summed, and "sumC" per input; "group" per group of rows, "turn" per
// turn of the loop over them, "loop" per group that loops over columns and "round" per turn of that
// loop; "cN" per call that reads N columns ("_kept": whose inputs stay in registers, "_straight":
// without a loop); "tail" and "tailC" for int4 columns that do not fill a group; "left" where rows
// are left, "row" per row that is read alone and "row_columns" per turn of its loop over columns;
// "bit" per bit that a result is shifted, where the core shifts bit by bit. Each carries the width
// of the weights. shifted: such bits of a row.
func (w way) block(h helpers, rows, columns, bits int, shifted float64) function {
	time, code := runs{}, runs{}
	name := func(kernel string) string { return kernel + strconv.Itoa(bits) }
	call := func(columns int) string { return name("c" + strconv.Itoa(columns) + "_") }
	time.add(name("rows"), 1)
	code.add(name("rows"), 1)
	together := w.together(rows, bits, columns)
	groups, left := together/w.rows, rows-together
	tail := w.tail(bits, columns)
	grouped := columns - tail
	if summed := w.summed(bits, columns); groups > 0 && summed > 0 {
		kernel := h.placed("sum") + "_"
		time.add(name(kernel), 1)
		time.add(name(kernel+"columns"), summed)
		code.add(name(kernel), 1)
	}
	looped := grouped > w.straight
	bodies := w.bodies(together, looped)
	turns := groups / max(1, w.perTurn(together, looped))
	if turns > 1 {
		time.add(name("turn"), turns)
		code.add(name("turn"), 1)
	}
	time.add(name("group"), groups)
	code.add(name("group"), bodies)
	if groups == 1 {
		time.add(name("single"), 1)
		code.add(name("single"), 1)
	}
	first := w.pieces(bits)[0]
	each, rounds := 0, 0 // pieces in one round of the loop over columns
	if looped && grouped > 0 {
		rounds = (grouped + w.straight - 1) / w.straight
		each = grouped / first / rounds
		time.add(name("loop"), groups)
		time.add(name("round"), groups*rounds)
		code.add(name("loop"), bodies)
		time.add(call(first), groups*rounds*each)
		time.add(flashRead, groups*rounds*each*w.reads(bits, first))
		code.add(call(first), bodies*each)
	}
	rest := grouped - rounds*each*first
	time.add(flashRead, 2*rows) // biases and shifts
	for _, piece := range w.pieces(bits) {
		kernel := call(piece)
		switch {
		case columns <= w.kept:
			kernel += "_kept"
		case !looped:
			kernel += "_straight"
		}
		if w == byteWay {
			kernel = call(piece)
			if piece > 1 && bits != 8 && h["pieces"+strconv.Itoa(bits)] {
				kernel += "_inside"
			}
		}
		time.add(flashRead, groups*(rest/piece)*w.reads(bits, piece))
		time.add(kernel, groups*(rest/piece))
		if w == byteWay && bits == 8 && piece == bytePair {
			code.add(kernel, min(bodies, bodies*rest/piece)) // one call reads all
		} else {
			code.add(kernel, bodies*(rest/piece))
		}
		rest %= piece
	}
	if tail > 0 {
		kernel := h.placed("row4") + "_tail"
		time.add(kernel, groups*w.rows)
		time.add(withoutInside(kernel)+"_columns", groups*w.rows*tail)
		time.add(flashRead, groups*w.rows*tail)
		code.add(kernel, bodies)
	}
	if left > 0 {
		kernel := h.placed(name("row"))
		time.add(name("left"), 1)
		time.add(kernel, left)
		time.addColumns(kernel, w, bits, left, columns)
		time.add(flashRead, left*columns)
		code.add(name("left"), 1)
		code.add(kernel, 1)
		if left == 1 {
			code.add(name("left_one"), 1)
			time.add(name("left_one"), 1)
		}
		if groups == 0 {
			code.add(name("left_alone"), 1)
			time.add(name("left_alone"), 1)
		}
		if bits == 8 && columns%4 != 0 && h[name("row")] {
			code.add(name("left_rest"), 1)
			time.add(name("left_rest"), left)
		}
	}
	if w == byteWay {
		time[name("bit")] += float64(float64(rows) * shifted)
	}
	return function{time: time, code: code}
}

// addColumns counts turns of the loop over the columns of rows that are read alone, wherever the
// routine stands.
func (r runs) addColumns(kernel string, w way, bits, rows, columns int) {
	kernel = withoutInside(kernel)
	if bits == 8 || bits == 16 && w == dualWay { // four at a time
		r.add(kernel+"_fours", rows*(columns/4))
		columns %= 4
	}
	r.add(kernel+"_columns", rows*columns)
}

// byteColumns is how many columns of int8 weights two rows that are read together may have: as
// exporter/emit/layout.go.
const byteColumns = 254

// together is how many of the rows are read in groups. Where a sum might not hold raised weights,
// or the bytes of two rows, each is read alone, as block.inGroups of the exporter says; biases,
// which a shape does not show, count as 0.
func (w way) together(rows, bits, columns int) int {
	raise := 0
	if bits == 4 || bits == 8 && w == threeWay {
		raise = 1 << (bits - 1)
	}
	if int64(3*raise*columns)<<15 > math.MaxInt32 || w != threeWay && bits == 8 &&
		columns > byteColumns {
		return 0
	}
	return rows / w.rows * w.rows
}

// tail is how many columns of a group of rows are read row by row.
func (w way) tail(bits, columns int) int {
	if bits == 4 && w != threeWay {
		return columns % 4
	}
	return 0
}

// perTurn is how many groups of rows one turn of the loop over them reads.
func (w way) perTurn(rows int, looped bool) int {
	if !looped && rows/w.rows > 1 {
		return w.groups
	}
	return 1
}

// bodies is how many times the code that reads a group of rows stands there.
func (w way) bodies(rows int, looped bool) int {
	groups, each := rows/w.rows, w.perTurn(rows, looped)
	n := 0
	if groups/each > 0 {
		n = each
	}
	if groups%each == 1 {
		n++
	}
	return n
}

// bytePair is the columns that one turn of the loop reads that multiplies byte by byte.
const bytePair = 2

// flashRead counts the constants that a step reads: biases, shifts, weights, and nodes of the
// table. Executed loads through a register do not tell flash from RAM, so waiting for these is
// added by this count.
const flashRead = "flash_read"

// reads is how many loads of weights a call takes that reads so many columns of a group of rows.
func (w way) reads(bits, columns int) int {
	switch {
	case w == threeWay || w == byteWay && bits == 8:
		return w.rows // of one column, or of two int4 columns in a byte
	case bits == 4:
		return 1 // a word
	case bits == 8 && columns > 1:
		return columns / 2 // words
	}
	return w.rows
}

// summed is how many inputs are summed because their weights are raised.
func (w way) summed(bits, columns int) int {
	switch {
	case bits == 4 && w == threeWay:
		return columns / 2 * 2
	case bits == 4:
		return columns / 4 * 4
	case bits == 8 && w == threeWay:
		return columns
	}
	return 0
}

// tableReads is how many nodes of the table an activation reads.
const tableReads = 2

// nonlinear is how many activations by table a unit has.
func nonlinear(kind model.Kind) int {
	switch kind {
	case model.LSTM:
		return kind.Gates() + 1 // and that of the cell
	case model.ElmanReLU:
		return 0
	}
	return kind.Gates()
}
