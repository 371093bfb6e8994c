package cost

import (
	"fmt"

	"kerf/quant/rows"
)

// routine is a small function of the emitted C that compilers may put into its callers.
type routine struct {
	does routineTask
	bits int // width of the weights; 0 for addInputs
}

type routineTask int

const (
	readRow     routineTask = iota // reads a row, or the last int4 columns of one
	addInputs                      // adds up inputs
	readColumns                    // reads some columns of two rows, byte by byte
)

// name returns the name of the routine in kernels.toml.
func (r routine) name() string {
	switch r.does {
	case readRow:
		return fmt.Sprintf("row%d", r.bits)
	case addInputs:
		return "sum"
	}
	return fmt.Sprintf("pieces%d", r.bits)
}

// calledFrom is the number of calls of a routine in a network from which on GCC leaves it out of
// its callers; with fewer calls, or where no number is given, it stands in each of them. Read in
// the symbols of 120 networks (testdata/kernels), for the flags of the profiles.
var calledFrom = map[string]map[routine]int{
	"armv6m":  {},
	"armv7m":  {},
	"armv7em": {{readRow, 4}: 3, {readRow, 8}: 2, {readRow, 16}: 2, {does: addInputs}: 3},
	"armv8m":  {{readRow, 4}: 3, {readRow, 8}: 2, {readRow, 16}: 2, {does: addInputs}: 3},
	"rv32imc": {{readRow, 4}: 3, {readRow, 8}: 2},
	"avr":     {{readRow, 8}: 2, {readColumns, 4}: 2, {readColumns, 16}: 2},
}

// placeRoutines reports, for every routine that the network calls, whether it stands in its
// callers. It goes through the calls of the functions that read rows, and of the head.
func (c *counter) placeRoutines() map[routine]bool {
	calls := map[routine]int{}
	int8Columns := map[int]bool{} // numbers of columns that are read of int8 rows
	callRow := func(bits, n, columns int) {
		calls[routine{readRow, bits}] += n
		if bits == 8 {
			int8Columns[columns] = true
		}
	}
	eachMatrix(c.shape, func(m matrix) {
		if m.isHead {
			callRow(m.bits, 1, m.columns)
			return
		}
		tail := c.way.Tail(m.bits, m.columns)
		together := c.way.Together(m.rows, m.bits, m.columns, 0)
		bodies := c.way.Bodies(together, m.columns-tail > c.way.Straight)
		if together > 0 && c.way.Summed(m.bits, m.columns) > 0 {
			calls[routine{does: addInputs}]++
		}
		if tail > 0 && bodies > 0 {
			callRow(4, c.way.Rows*bodies, tail)
		}
		if m.rows > together {
			callRow(m.bits, 1, m.columns)
		}
		if c.way == rows.Bytes && m.bits != 8 {
			calls[routine{readColumns, m.bits}] += bodies *
				((m.columns - tail) / c.way.Pieces(m.bits)[0])
		}
	})
	inside := map[routine]bool{}
	for r, n := range calls {
		from, ok := calledFrom[c.isa][r]
		inside[r] = !ok || n < from
	}
	// At -O2 without a size to save, rows of int8 are called where all have the same number of
	// columns, which the compiler then writes into the routine.
	int8Row := routine{readRow, 8}
	if c.way == rows.Three && calledFrom[c.isa][int8Row] == 0 && calls[int8Row] > 1 &&
		len(int8Columns) == 1 {
		inside[int8Row] = false
	}
	return inside
}
