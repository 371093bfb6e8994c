package cost

import (
	"fmt"
	"strconv"

	"kerf/model"
)

// kernel is a piece of the emitted C for which kernels.toml has figures: the instructions of one
// run, the bytes of its code, or both. Fields that do not belong to its task stay zero, so that
// equal kernels are equal values.
type kernel struct {
	task       task
	bits       int              // word width: of weights, or of the state of a recurrent layer
	layer      model.Kind       // of the tasks of a recurrent layer
	activation model.Activation // of the tasks of a dense layer
	shift      int              // of tableShift
	isHead     bool             // of rows: their sums are the outputs
	outputs    int              // 1 or 2: code for so few outputs, without a loop; 0: any number
}

// task says what a kernel does. A head is a last layer without a table, whose sums are the outputs.
type task int

const (
	_ task = iota

	// Reading the rows of a matrix. bits is the width of its weights.
	rowsCall    // a call of the function, which calls a kernel in assembler
	sumColumn   // an input that is added up because weights are raised; as code: the routine
	group       // a group of rows; as code: the kernel
	tile        // a tile of a group
	column      // a column of a group, where plain C reads it
	columnOf1   // the same of the only group, where the compiler knows that it is
	columnOfAny // the same of a function that is called for different numbers of groups
	tileLoop    // a group whose tiles are read in a loop
	tileTurn    // a turn of that loop
	threeGroups // three groups that are read together
	threeTiles  // a tile of each of these
	rowBit      // a bit by which a result is shifted, where the core shifts bit by bit

	// A recurrent layer. bits is the width of its state.
	layerCall   // a call of the function of the layer
	layerUnit   // a unit; as code: the function
	layerNear   // a unit, where one instruction reaches every byte of the frame
	layerBit    // a bit by which a cell is shifted, where the core shifts bit by bit
	layerLimit  // a limit in front of the tanh table
	tableShift  // a shift into the table, where the core shifts bit by bit
	layerShared // code that all layers of the kind share

	// Dense layers.
	headCall    // a call of a head
	headRow     // an output of it
	headReLU    // an output of a head that is at least 0
	headCopy    // a routine of the library that copies the sums of a head to its outputs
	denseCall   // a call of a dense layer in front of the last one
	denseRow    // an output of such a layer
	lastCall    // a call of a last layer with a table
	lastRow     // an output of such a layer
	denseLimit  // a limit in front of the table
	scaleShared // code that outputs behind a table share
	tableShared // code that dense layers with a table in front of the last one share

	// The step and what surrounds it.
	stepCall    // a call of the step
	stepLayer   // a recurrent layer in the step
	stepDense   // a dense layer in the step
	stepView    // a 16-bit view of a wide state
	resetLayer  // a layer whose state the reset sets to 0
	resetCell   // its cell
	resetCall   // a routine of the library that sets long states to 0
	otherShared // all other code
)

// names are the names of tasks in kernels.toml that need no more than the width of words.
var names = map[task]string{
	headReLU: "head_ReLU", headCopy: "head_copy", headRow: "head_row", denseLimit: "limit_dense",
	scaleShared: "uses_scale", tableShared: "uses_dense_table", sumColumn: "sum",
	stepCall: "step", stepLayer: "step_layer", stepDense: "step_dense", stepView: "step_view",
	resetLayer: "reset", resetCell: "reset_cell", resetCall: "reset_call", otherShared: "shared",
}

// name returns the name of the kernel in kernels.toml.
func (k kernel) name() string {
	rows, outputs := "rows", [...]string{"", "_one", "_two"}[k.outputs]
	if k.isHead {
		rows = "sums"
	}
	rows += strconv.Itoa(k.bits)
	switch k.task {
	case rowsCall:
		return rows
	case group:
		return rows + "_group"
	case tile:
		return rows + "_tile"
	case column:
		return rows + "_column"
	case columnOf1:
		return rows + "_column_of_one"
	case columnOfAny:
		return rows + "_column_of_any"
	case tileLoop:
		return rows + "_loop"
	case tileTurn:
		return rows + "_turn"
	case threeGroups:
		return rows + "_three"
	case threeTiles:
		return rows + "_three_tile"
	case rowBit:
		return rows + "_bit"
	case headCall:
		return "head" + outputs
	case layerCall:
		return "layer_" + layerName(k.layer, k.bits)
	case layerUnit:
		return layerName(k.layer, k.bits)
	case layerNear:
		return layerName(k.layer, k.bits) + "_near"
	case layerBit:
		return layerName(k.layer, k.bits) + "_bit"
	case layerLimit:
		return "limit_" + layerName(k.layer, k.bits)
	case layerShared:
		return "uses_" + layerName(k.layer, k.bits)
	case tableShift:
		return fmt.Sprintf("table%d", k.shift)
	case denseCall:
		return "dense_" + k.activation.String() + outputs
	case denseRow:
		return "dense_" + k.activation.String() + "_row"
	case lastCall:
		return "last_" + k.activation.String() + outputs
	case lastRow:
		return "last_" + k.activation.String() + "_row"
	}
	name, ok := names[k.task]
	if !ok {
		panic(fmt.Sprintf("cost: task %d has no name", k.task))
	}
	return name
}

// layerName names a kind of recurrent layer and the width of its state.
func layerName(kind model.Kind, stateBits int) string {
	return nameOf(shapeKinds, kind) + strconv.Itoa(stateBits)
}

// alike returns the kernels that stand in for one that the measured networks do not have: the code
// for any number of outputs instead of that for one or two.
func (k kernel) alike() []kernel {
	general := k
	general.outputs = 0
	return []kernel{general}
}

// isCorrection reports whether a kernel changes others a little, so that it counts as nothing
// where it was not measured.
func (k kernel) isCorrection() bool {
	switch k.task {
	case columnOf1, columnOfAny, tileLoop, tileTurn, layerNear, layerLimit, denseLimit, headCopy,
		layerShared, scaleShared, tableShared:
		return true
	case headCall, denseCall, lastCall:
		return k.outputs > 0
	}
	return false
}
