package cost

import (
	"strconv"

	"kerf/quant/rows"

	"kerf/model"
)

// way counts what a way of reading rows takes. Biases, which a shape does not show, count as 0
// where they decide whether rows are read together.
type way struct{ rows.Way }

func wayOf(isa string) way { return way{rows.Of(isa)} }

// runs counts how often each kernel of the emitted C runs, or how often each part of its code
// stands there.
type runs map[string]float64

func (r runs) add(kernel string, n int) {
	if n != 0 {
		r[kernel] += float64(n)
	}
}

// block counts what the function takes that reads a block of rows. Kernels: "rows" per call; "sum"
// per call whose inputs are summed, and "sumC" per input; "group" per group of rows, "turn" per
// turn of the loop over them, "loop" per group that loops over columns and "round" per turn of that
// loop; "cN" per call that reads N columns ("_kept": whose inputs stay in registers, "_straight":
// without a loop); "tail" and "tailC" for int4 columns that do not fill a group; "left" where rows
// are left, "row" per row that is read alone and "row_columns" per turn of its loop over columns;
// "bit" per bit that a result is shifted, where the core shifts bit by bit. Each carries the width
// of the weights. shifted: such bits of a row.
func (w way) block(h helpers, n, columns, bits int, shifted float64) function {
	time, code := runs{}, runs{}
	name := func(kernel string) string { return kernel + strconv.Itoa(bits) }
	call := func(columns int) string { return name("c" + strconv.Itoa(columns) + "_") }
	time.add(name("rows"), 1)
	code.add(name("rows"), 1)
	together := w.Together(n, bits, columns, 0)
	groups, left := together/w.Rows, n-together
	tail := w.Tail(bits, columns)
	grouped := columns - tail
	if summed := w.Summed(bits, columns); groups > 0 && summed > 0 {
		kernel := h.placed("sum") + "_"
		time.add(name(kernel), 1)
		time.add(name(kernel+"columns"), summed)
		code.add(name(kernel), 1)
	}
	looped := grouped > w.Straight
	bodies := w.Bodies(together, looped)
	turns := groups / max(1, w.PerTurn(together, looped))
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
	first := w.Pieces(bits)[0]
	each, rounds := 0, 0 // pieces in one round of the loop over columns
	if looped && grouped > 0 {
		rounds = (grouped + w.Straight - 1) / w.Straight
		each = grouped / first / rounds
		time.add(name("loop"), groups)
		time.add(name("round"), groups*rounds)
		code.add(name("loop"), bodies)
		time.add(call(first), groups*rounds*each)
		time.add(flashRead, groups*rounds*each*w.Reads(bits, first))
		code.add(call(first), bodies*each)
	}
	rest := grouped - rounds*each*first
	time.add(flashRead, 2*n) // biases and shifts
	for _, piece := range w.Pieces(bits) {
		kernel := call(piece)
		switch {
		case columns <= w.Kept:
			kernel += "_kept"
		case !looped:
			kernel += "_straight"
		}
		if w.Way == rows.Bytes {
			kernel = call(piece)
			if piece > 1 && bits != 8 && h["pieces"+strconv.Itoa(bits)] {
				kernel += "_inside"
			}
		}
		time.add(flashRead, groups*(rest/piece)*w.Reads(bits, piece))
		time.add(kernel, groups*(rest/piece))
		if w.Way == rows.Bytes && bits == 8 && piece == rows.BytePair {
			code.add(kernel, min(bodies, bodies*rest/piece)) // one call reads all
		} else {
			code.add(kernel, bodies*(rest/piece))
		}
		rest %= piece
	}
	if tail > 0 {
		kernel := h.placed("row4") + "_tail"
		time.add(kernel, groups*w.Rows)
		time.add(withoutInside(kernel)+"_columns", groups*w.Rows*tail)
		time.add(flashRead, groups*w.Rows*tail)
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
	if w.Way == rows.Bytes {
		time[name("bit")] += float64(float64(n) * shifted)
	}
	return function{time: time, code: code}
}

// addColumns counts turns of the loop over the columns of rows that are read alone, wherever the
// routine stands.
func (r runs) addColumns(kernel string, w way, bits, n, columns int) {
	kernel = withoutInside(kernel)
	if bits == 8 || bits == 16 && w.Way == rows.Dual { // four at a time
		r.add(kernel+"_fours", n*(columns/4))
		columns %= 4
	}
	r.add(kernel+"_columns", n*columns)
}

// flashRead counts the constants that a step reads: biases, shifts, weights, and nodes of the
// table. Executed loads through a register do not tell flash from RAM, so waiting for these is
// added by this count.
const flashRead = "flash_read"

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
