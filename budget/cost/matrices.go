package cost

import (
	"fmt"

	"kerf/model"
	"kerf/quant"
)

// matrix is a weight matrix, or the part of one that one function of the emitted C reads.
type matrix struct {
	layer               int    // index among the recurrent layers, or among the dense ones
	name                string // of C identifiers: l0_x, l0_h, l0_n, d0, head
	rows, columns, bits int
	shifted             float64 // bits beyond whole bytes by which a result is shifted, the mean
	isHead              bool    // of a last layer without a table, whose sums are the outputs
	isDense             bool
	isState             bool // recurrent weights
}

// eachMatrix calls do for the matrices in the order in which a step reads them.
func eachMatrix(s quant.Shape, do func(matrix)) {
	in := s.Features
	for i, l := range s.Layers {
		f := s.Formats.Layers[i]
		shifts := layerShifts(s, i)
		gates := l.Kind.Gates()
		name := layerPrefix(i)
		do(matrix{layer: i, name: name + "_x", rows: gates * l.Units, columns: in,
			bits: f.InputBits, shifted: shifts.Input})
		states := matrix{layer: i, name: name + "_h", rows: gates * l.Units, columns: l.Units,
			bits: f.RecurrentBits, shifted: shifts.Recurrent, isState: true}
		if l.Kind == model.GRUResetBefore { // the rows of the candidate are read later
			states.rows = 2 * l.Units
			do(states)
			states.name, states.rows = name+"_n", l.Units
		}
		do(states)
		in = l.Units
	}
	for i, d := range s.Dense {
		do(matrix{layer: i, name: densePrefix(s, i), rows: d.Outputs, columns: in,
			bits: s.Formats.Dense[i], shifted: denseShifts(s, i).Rows, isDense: true,
			isHead: isHead(s, i)})
		in = d.Outputs
	}
}

// layerPrefix begins the C identifiers of a recurrent layer.
func layerPrefix(i int) string { return fmt.Sprintf("l%d", i) }

// densePrefix begins the C identifiers of a dense layer.
func densePrefix(s quant.Shape, i int) string {
	if i == len(s.Dense)-1 {
		return "head"
	}
	return fmt.Sprintf("d%d", i)
}

// isHead reports whether dense layer i is a last layer without a table: its sums are the outputs,
// and it reads its rows itself.
func isHead(s quant.Shape, i int) bool {
	return i == len(s.Dense)-1 && !usesTable(s.Dense[i].Activation)
}

// usesTable reports whether an activation reads the tanh table.
func usesTable(a model.Activation) bool { return a == model.Tanh || a == model.Logistic }

// WidestRow returns the largest number of columns of any matrix.
func WidestRow(s quant.Shape) int {
	columns := 0
	eachMatrix(s, func(m matrix) { columns = max(columns, m.columns) })
	return columns
}

// Shifts of a network that is not quantized yet: those of the demo job (table 6, 1.5 and 4.2 bits;
// testdata/cityweather has 7 for the table), and for a cell the middle of those in the networks of
// testdata/kernels.
const (
	typicalTable     = 6
	typicalCell      = 4
	typicalInput     = 2
	typicalRecurrent = 4
)

func layerShifts(s quant.Shape, i int) quant.LayerShifts {
	if s.Shifts.IsKnown() {
		return s.Shifts.Layers[i]
	}
	return quant.LayerShifts{Table: typicalTable, Cell: typicalCell, CellTable: typicalTable,
		Input: typicalInput, Recurrent: typicalRecurrent}
}

func denseShifts(s quant.Shape, i int) quant.DenseShifts {
	if s.Shifts.IsKnown() {
		return s.Shifts.Dense[i]
	}
	return quant.DenseShifts{Table: typicalTable, Rows: typicalRecurrent}
}
