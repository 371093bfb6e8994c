package cost

import (
	"strconv"

	"kerf/quant/rows"

	"kerf/quant"
)

// helpers tells which small routines of the emitted C the compiler puts into their callers: their
// code and time are other ones then. The rest are called.
type helpers map[string]bool

// placed names the kernels of a routine.
func (h helpers) placed(routine string) string {
	if h[routine] {
		return routine + "_inside"
	}
	return routine
}

// calledFrom is the number of places that call a routine from which on GCC leaves it out of them;
// with fewer, or where none is given, it stands in every one. Read in the symbols of 120 networks
// (testdata/kernels), for the flags of the profiles.
var calledFrom = map[string]map[string]int{
	"armv6m":  {},
	"armv7m":  {},
	"armv7em": {"row4": 3, "row8": 2, "row16": 2, "sum": 3},
	"armv8m":  {"row4": 3, "row8": 2, "row16": 2, "sum": 3},
	"rv32imc": {"row4": 3, "row8": 2},
	"avr":     {"row8": 2, "pieces4": 2, "pieces16": 2},
}

// findHelpers goes through the calls in the blocks of a network and in its last layer.
func (w way) findHelpers(s quant.Shape, isa string) helpers {
	places, columns := map[string]int{}, map[string]map[int]bool{}
	row := func(bits, n, cols int) {
		name := "row" + strconv.Itoa(bits)
		places[name] += n
		if columns[name] == nil {
			columns[name] = map[int]bool{}
		}
		columns[name][cols] = true
	}
	eachMatrix(s, func(m matrix) {
		if m.isHead {
			row(m.bits, 1, m.columns)
			return
		}
		tail := w.Tail(m.bits, m.columns)
		together := w.Together(m.rows, m.bits, m.columns, 0)
		bodies := w.Bodies(together, m.columns-tail > w.Straight)
		if together > 0 && w.Summed(m.bits, m.columns) > 0 {
			places["sum"]++
		}
		if tail > 0 && bodies > 0 {
			row(4, w.Rows*bodies, tail)
		}
		if m.rows > together {
			row(m.bits, 1, m.columns)
		}
		if w.Way == rows.Bytes && m.bits != 8 {
			places["pieces"+strconv.Itoa(m.bits)] += bodies *
				((m.columns - tail) / w.Pieces(m.bits)[0])
		}
	})
	h := helpers{}
	for routine, n := range places {
		from, ok := calledFrom[isa][routine]
		h[routine] = !ok || n < from
	}
	// At -O2 without a size to save, rows of int8 are called where all have the same number of
	// columns, which the compiler then writes into the routine.
	if w.Way == rows.Three && calledFrom[isa]["row8"] == 0 && places["row8"] > 1 &&
		len(columns["row8"]) == 1 {
		h["row8"] = false
	}
	return h
}
