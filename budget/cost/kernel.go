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
	columns    int              // of columnCall: columns that the call reads
	form       form             // of columnCall
	shift      int              // of tableShift
	routine    routine          // of routineCode
	isInside   bool             // the routine of the task stands in its caller; else it is called
	isHead     bool             // of rows read alone: they belong to a last layer without a table
	outputs    int              // 1 or 2: code for so few outputs, without a loop; 0: any number
}

// task says what a kernel does. A head is a last layer without a table, whose sums are the outputs.
type task int

const (
	_ task = iota

	// A function that reads the rows of a matrix. bits is the width of its weights.
	rowsCall    // a call of the function
	sumCall     // a call that adds up inputs, because weights are raised
	sumColumn   // an input that is added up
	groupTurn   // a turn of the loop over groups of rows
	group       // a group of rows
	singleGroup // a call with a single group
	columnLoop  // a group that loops over columns
	columnTurn  // a turn of that loop
	columnCall  // a call that reads some columns of a group
	tailRow     // a row of a group whose last int4 columns fill no columnCall
	tailColumn  // such a column
	leftRows    // a call in which rows are left that are read alone
	leftOne     // such a call with a single row that is left
	leftAlone   // such a call without a group
	leftRest    // a row that is left, with int8 columns that are no multiple of four
	row         // a row that is read alone
	rowRest     // a row of a head with int8 columns that are no multiple of four
	rowFour     // four columns of a row that is read alone
	rowColumn   // a column of such a row outside of these fours
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
	headReLU    // an output of a head that is at least 0
	denseCall   // a call of a dense layer in front of the last one
	denseRow    // an output of such a layer
	lastCall    // a call of a last layer with a table
	lastRow     // an output of such a layer
	denseLimit  // a limit in front of the table
	headShared  // code that heads share, by the width of their weights
	rowsShared  // code that functions share that read rows, by the width of their weights
	scaleShared // code that outputs behind a table share
	tableShared // code that dense layers with a table in front of the last one share

	// The step and what surrounds it.
	stepCall    // a call of the step
	stepLayer   // a recurrent layer in the step
	stepDense   // a dense layer in the step
	stepView    // a 16-bit view of a wide state
	resetLayer  // a layer whose state the reset sets to 0
	resetCell   // its cell
	routineCode // the code of a routine that is called
	otherShared // all other code
)

// form says how the columnCalls of a group stand in its code.
type form int

const (
	looped   form = iota // in a loop over columns, or behind it
	straight             // without a loop
	kept                 // without a loop, and inputs stay in registers from group to group
)

// names are the names of tasks in kernels.toml that need no more than the width of words.
var names = map[task]string{
	rowsCall: "rows", groupTurn: "turn", group: "group", singleGroup: "single", columnLoop: "loop",
	columnTurn: "round", leftRows: "left", leftOne: "left_one", leftAlone: "left_alone",
	leftRest: "left_rest", rowBit: "bit",
	headCall: "head", headReLU: "head_ReLU", denseLimit: "limit_dense", headShared: "uses_head",
	rowsShared: "uses_rows", scaleShared: "uses_scale", tableShared: "uses_dense_table",
	stepCall: "step", stepLayer: "step_layer", stepDense: "step_dense", stepView: "step_view",
	resetLayer: "reset", resetCell: "reset_cell", otherShared: "shared",
}

// name returns the name of the kernel in kernels.toml.
func (k kernel) name() string {
	inside, head := "", ""
	if k.isInside {
		inside = "_inside"
	}
	if k.isHead {
		head = "head_"
	}
	outputs := [...]string{"", "_one", "_two"}[k.outputs]
	switch k.task {
	case sumCall:
		return fmt.Sprintf("sum%s_%d", inside, k.bits)
	case sumColumn:
		return fmt.Sprintf("sum%s_columns%d", inside, k.bits)
	case columnCall:
		form := [...]string{looped: "", straight: "_straight", kept: "_kept"}[k.form]
		return fmt.Sprintf("c%d_%d%s%s", k.columns, k.bits, form, inside)
	case tailRow:
		return fmt.Sprintf("row%d%s_tail", k.bits, inside)
	case tailColumn:
		return fmt.Sprintf("row%d_tail_columns", k.bits)
	case row:
		return fmt.Sprintf("%srow%d%s%s", head, k.bits, inside, outputs)
	case rowRest:
		return fmt.Sprintf("%srow%d%s%s_rest", head, k.bits, inside, outputs)
	case rowFour:
		return fmt.Sprintf("%srow%d%s_fours", head, k.bits, outputs)
	case rowColumn:
		return fmt.Sprintf("%srow%d%s_columns", head, k.bits, outputs)
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
	case routineCode:
		return "routine_" + k.routine.name()
	}
	name, ok := names[k.task]
	if !ok {
		panic(fmt.Sprintf("cost: task %d has no name", k.task))
	}
	if k.bits > 0 {
		name += fmt.Sprint(k.bits)
	}
	return name
}

// layerName names a kind of recurrent layer and the width of its state.
func layerName(kind model.Kind, stateBits int) string {
	return nameOf(shapeKinds, kind) + strconv.Itoa(stateBits)
}

// alike returns the kernels that stand in for one that the measured networks do not have, the most
// like it first: the routine called instead of inside its caller, the code for any number of
// outputs instead of that for one or two, both, and the routine inside instead of called.
func (k kernel) alike() []kernel {
	called, general := k, k
	called.isInside, general.outputs = false, 0
	calledGeneral, insideGeneral := general, general
	calledGeneral.isInside, insideGeneral.isInside = false, true
	return []kernel{called, general, calledGeneral, insideGeneral}
}

// isCorrection reports whether a kernel changes others a little, so that it counts as nothing
// where it was not measured.
func (k kernel) isCorrection() bool {
	switch k.task {
	case singleGroup, columnLoop, columnTurn, leftOne, leftAlone, leftRest, rowRest, layerNear,
		layerLimit, denseLimit, layerShared, headShared, rowsShared, scaleShared, tableShared:
		return true
	case row, denseCall, lastCall:
		return k.outputs == 1
	}
	return false
}
