package cost

import (
	"kerf/model"
	"kerf/quant"
	"kerf/quant/rows"
)

// tableReads is the number of nodes of the tanh table that an activation reads: those at both ends
// of a chord.
const tableReads = 2

// nonlinear returns the number of activations by table of a unit.
func nonlinear(kind model.Kind) int {
	switch kind {
	case model.LSTM:
		return kind.Gates() + 1 // and that of the cell
	case model.ElmanReLU:
		return 0
	}
	return kind.Gates()
}

// logistics returns the number of logistic gates of a unit.
func logistics(kind model.Kind) int {
	switch kind {
	case model.GRUResetAfter, model.GRUResetBefore:
		return 2
	case model.LSTM:
		return 3
	}
	return 0
}

// gates counts the function of recurrent layer i, which makes new states from the results of rows.
func (c *counter) gates(i int) function {
	l, shifts := c.shape.Layers[i], layerShifts(c.shape, i)
	bits := c.shape.Formats.Layers[i].StateBits
	of := func(t task) kernel { return kernel{task: t, layer: l.Kind, bits: bits} }
	f := newFunction()
	f.arrays = layerArrays(l)
	f.time.add(of(layerCall), 1)
	f.add(of(layerUnit), l.Units, 1)
	f.flashReads += tableReads * l.Units * nonlinear(l.Kind)
	if c.isAVR() && f.arrays <= nearBytes {
		f.add(of(layerNear), l.Units, 1)
	}
	if l.Kind == model.ElmanReLU {
		return f
	}
	c.addTable(f, of(layerLimit), int(shifts.Table), 1, l.Units)
	c.addTable(f, of(layerLimit), int(shifts.Table)+1, logistics(l.Kind), l.Units)
	if l.Kind.HasCell() {
		c.addTable(f, of(layerLimit), int(shifts.CellTable), 1, l.Units)
		if c.isAVR() {
			bits := int(shifts.Cell % 8)
			f.add(of(layerBit), l.Units*bits, bits)
		}
	}
	return f
}

// nearBytes of a frame are within the reach of one instruction of an AVR core (LDD: displacement 0
// to 63, AVR Instruction Set Manual DS40002198).
const nearBytes = 63

// wholeTable is the least shift into the table with which the table reaches as far as a 16-bit
// value.
const wholeTable = 7

// leastTable is the least shift into the table that was measured: sums of 128 and more. Smaller
// shifts count as this one.
const leastTable = 3

// addTable counts the work of reading the table beyond that with the shift wholeTable: the limit
// where the table ends before the value does, and other shifts where a core shifts bit by bit.
// places is the number of places in the code, times how often each runs in a step.
func (c *counter) addTable(f function, limit kernel, shift, places, times int) {
	if shift < wholeTable {
		f.add(limit, places*times, places)
	}
	if shift = max(shift, leastTable); c.isAVR() && shift != wholeTable {
		f.add(kernel{task: tableShift, shift: shift}, places*times, places)
	}
}

// dense counts the function of dense layer i.
func (c *counter) dense(i int) function {
	if isHead(c.shape, i) {
		return c.head(i)
	}
	d := c.shape.Dense[i]
	call, output := kernel{task: denseCall}, kernel{task: denseRow}
	f := newFunction()
	if i == len(c.shape.Dense)-1 {
		call.task, output.task = lastCall, lastRow
		f.arrays = int16Array(rows.Filled(d.Outputs))
	}
	call.activation, output.activation = d.Activation, d.Activation
	f.add(call, 1, 1)
	if d.Activation != model.Identity {
		f.time.add(output, d.Outputs)
	}
	if d.Outputs == 1 {
		call.outputs = 1
		f.code.add(call, 1)
	}
	if usesTable(d.Activation) {
		f.flashReads += tableReads * d.Outputs
		shift := int(denseShifts(c.shape, i).Table)
		if d.Activation == model.Logistic {
			shift++
		}
		c.addTable(f, kernel{task: denseLimit}, shift, 1, d.Outputs)
	}
	return f
}

// head counts the function of dense layer i where it is a head.
func (c *counter) head(i int) function {
	d := c.shape.Dense[i]
	call, output := kernel{task: headCall}, kernel{task: headRow}
	f := newFunction()
	f.arrays = int32Bytes * rows.Filled(d.Outputs)
	f.add(call, 1, 1)
	f.time.add(output, d.Outputs)
	if d.Outputs <= 2 { // compilers write out the loop over so few
		call.outputs = d.Outputs
		f.add(call, 1, 1)
	}
	if d.Activation == model.ReLU {
		f.add(kernel{task: headReLU}, d.Outputs, 1)
	}
	if copiesHead(d) {
		f.time.add(kernel{task: headCopy}, 1)
	}
	return f
}

// copiesHead reports whether GCC at -Os makes a loop that copies the sums of a head into a call of
// memcpy where it has no instruction for several words at once (Armv6-M). Read in objects for 1 to
// 4 outputs.
func copiesHead(d quant.DenseShape) bool { return d.Activation == model.Identity && d.Outputs >= 4 }

// step counts the function that calls those of the layers.
func (c *counter) step() function {
	f := newFunction()
	f.add(kernel{task: stepCall}, 1, 1)
	f.add(kernel{task: stepLayer}, len(c.shape.Layers), len(c.shape.Layers))
	f.add(kernel{task: stepDense}, len(c.shape.Dense), len(c.shape.Dense))
	for i := range c.shape.Layers {
		if hasView(c.shape, i) {
			f.add(kernel{task: stepView}, 1, 1)
		}
	}
	f.arrays = stepArrays(c.shape)
	return f
}

// hasView reports whether recurrent layer i has a 16-bit view of its state beside the state.
func hasView(s quant.Shape, i int) bool {
	return s.Layers[i].Kind != model.LSTM && s.Formats.Layers[i].StateBits == 32
}
