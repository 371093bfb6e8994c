package cost

import (
	"fmt"
	"maps"
	"slices"
	"strconv"

	"kerf/quant/rows"

	"kerf/model"
	"kerf/quant"
	"kerf/targets"
)

// function is one function of the emitted C that is kept out of its callers, with what it calls and
// is not kept apart.
type function struct {
	name       string // in the emitted C, behind the name of the job: l0_x_rows
	part       string // of the cycles of a step, see cycleParts
	time, code runs
}

// matrix is what one function of the emitted C reads.
type matrix struct {
	layer               int
	name                string // l0_x, d0, head
	rows, columns, bits int
	shifted             float64
	isHead              bool // the last layer, whose sums are the outputs
	isDense             bool
	isState             bool
}

// eachMatrix goes through what a step reads.
func eachMatrix(s quant.Shape, do func(matrix)) {
	in := s.Features
	for i, l := range s.Layers {
		f := s.Formats.Layers[i]
		shifts := layerShifts(s, i)
		gates := l.Kind.Gates()
		prefix := fmt.Sprintf("l%d_", i)
		do(matrix{layer: i, name: prefix + "x", rows: gates * l.Units, columns: in,
			bits: f.InputBits, shifted: shifts.Input})
		states := matrix{layer: i, name: prefix + "h", rows: gates * l.Units, columns: l.Units,
			bits: f.RecurrentBits, shifted: shifts.Recurrent, isState: true}
		if l.Kind == model.GRUResetBefore { // the candidate's rows are read later
			states.rows = 2 * l.Units
			do(states)
			states.name, states.rows = prefix+"n", l.Units
		}
		do(states)
		in = l.Units
	}
	for i, d := range s.Dense {
		m := matrix{layer: i, name: denseName(s, i), rows: d.Outputs, columns: in,
			bits: s.Formats.Dense[i], shifted: denseShifts(s, i).Rows, isDense: true}
		m.isHead = i == len(s.Dense)-1 && !usesTable(d.Activation)
		do(m)
		in = d.Outputs
	}
}

func denseName(s quant.Shape, i int) string {
	if i == len(s.Dense)-1 {
		return "head"
	}
	return fmt.Sprintf("d%d", i)
}

// Shifts of a network that is not quantized yet: those of the demo job (table 6, 1.5 and 4.2 bits;
// testdata/cityweather has 7 for the table), and for a cell the middle of what the networks of
// testdata/kernels have.
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

// functions counts one step: the kernels that each function of the emitted C runs, and what its
// code is made of; and the code that functions share.
func functions(s quant.Shape, isa string) (own []function, shared runs) {
	w := wayOf(isa)
	h := w.findHelpers(s, isa)
	rows := map[string][]function{} // by name of the layer
	eachMatrix(s, func(m matrix) {
		if m.isHead {
			return
		}
		f := w.block(h, m.rows, m.columns, m.bits, m.shifted)
		f.name, f.part = m.name+"_rows", m.name
		layer := m.name
		if !m.isDense {
			layer = fmt.Sprintf("l%d", m.layer)
			f.part = layer + "_input_products"
		}
		if m.isState {
			f.part = layer + "_recurrent_products"
		}
		rows[layer] = append(rows[layer], f)
	})
	for i := range s.Layers {
		layer := fmt.Sprintf("l%d", i)
		f := w.gates(s, i)
		f.name, f.part = layer+"_step", layer+"_gates"
		own = append(append(own, rows[layer]...), f)
	}
	in := s.Layers[len(s.Layers)-1].Units
	for i, d := range s.Dense {
		layer := denseName(s, i)
		f := w.dense(s, h, i, in)
		f.name, f.part = layer+"_step", layer
		own = append(append(own, rows[layer]...), f)
		in = d.Outputs
	}
	step := function{name: "step", part: "call", time: runs{}, code: runs{}}
	for _, r := range []runs{step.time, step.code} {
		r.add("step", 1)
		r.add("step_layer", len(s.Layers))
		r.add("step_dense", len(s.Dense))
		for i, l := range s.Layers {
			if s.Formats.Layers[i].StateBits == 32 && l.Kind != model.LSTM {
				r.add("step_view", 1)
			}
		}
	}
	return append(own, step), w.shared(s, h)
}

// gates counts the function that combines the results of rows to new states: "layer" per call, the
// kind alone per unit.
func (w way) gates(s quant.Shape, i int) function {
	l := s.Layers[i]
	shifts := layerShifts(s, i)
	key := layerKey(l.Kind, s.Formats.Layers[i].StateBits)
	f := function{time: runs{}, code: runs{}}
	f.time.add("layer_"+key, 1)
	f.time.add(key, l.Units)
	f.time.add(flashRead, tableReads*l.Units*nonlinear(l.Kind))
	f.code.add(key, 1)
	if w.Way == rows.Bytes && FrameArrays(s, fmt.Sprintf("l%d_step", i)) <= nearBytes {
		f.time.add(key+"_near", l.Units)
		f.code.add(key+"_near", 1)
	}
	logistics := map[model.Kind]int{model.GRUResetAfter: 2, model.GRUResetBefore: 2,
		model.LSTM: 3}[l.Kind]
	if l.Kind == model.ElmanReLU {
		return f
	}
	w.table(f, key, int(shifts.Table), 1, l.Units)
	w.table(f, key, int(shifts.Table)+1, logistics, l.Units)
	if l.Kind.HasCell() {
		w.table(f, key, int(shifts.CellTable), 1, l.Units)
		if w.Way == rows.Bytes {
			f.time.add(key+"_bit", l.Units*int(shifts.Cell%8))
			f.code.add(key+"_bit", int(shifts.Cell%8))
		}
	}
	return f
}

// nearBytes of a frame are within the reach of one instruction of an AVR core (LDD: displacement 0
// to 63, AVR Instruction Set Manual DS40002198).
const nearBytes = 63

// wholeTable is the shift into the table from which on it reaches as far as a 16-bit value.
const wholeTable = 7

// leastTable is the least shift into the table that was measured: sums of 128 and more. Smaller
// ones count as this.
const leastTable = 3

// table counts what reading the table takes beyond the shift wholeTable: the limit where the table
// ends before the value does, and where a core shifts bit by bit, other shifts. places: in the
// code; times: each runs in a step.
func (w way) table(f function, key string, shift, places, times int) {
	if places == 0 {
		return
	}
	if shift < wholeTable {
		f.time.add("limit_"+key, places*times)
		f.code.add("limit_"+key, places)
	}
	if shift = max(shift, leastTable); w.Way == rows.Bytes && shift != wholeTable {
		name := "table" + strconv.Itoa(shift)
		f.time.add(name, places*times)
		f.code.add(name, places)
	}
}

// dense counts the function of a dense layer without the one that reads its rows.
func (w way) dense(s quant.Shape, h helpers, i, in int) function {
	d, bits := s.Dense[i], s.Formats.Dense[i]
	last := i == len(s.Dense)-1
	f := function{time: runs{}, code: runs{}}
	if last && !usesTable(d.Activation) {
		kernel := "head_" + h.placed("row"+strconv.Itoa(bits))
		switch d.Outputs { // compilers write out the loop over so few
		case 1:
			kernel += "_one"
		case 2:
			kernel += "_two"
		}
		f.time.add("head", 1)
		f.code.add("head", 1)
		f.time.add(kernel, d.Outputs)
		f.time.addColumns(kernel, w, bits, d.Outputs, in)
		f.time.add(flashRead, d.Outputs*(1+in))
		f.code.add(kernel, 1)
		if bits == 8 && in%4 != 0 {
			f.code.add(kernel+"_rest", 1)
			f.time.add(kernel+"_rest", d.Outputs)
		}
		if d.Activation == model.ReLU {
			f.time.add("head_ReLU", d.Outputs)
			f.code.add("head_ReLU", 1)
		}
		return f
	}
	kernel := "dense_" + d.Activation.String()
	if last {
		kernel = "last_" + d.Activation.String()
	}
	f.time.add(kernel, 1)
	f.code.add(kernel, 1)
	if d.Activation != model.Identity {
		f.time.add(kernel+"_row", d.Outputs)
	}
	if d.Outputs == 1 {
		f.code.add(kernel+"_one", 1)
	}
	if usesTable(d.Activation) {
		f.time.add(flashRead, tableReads*d.Outputs)
		shift := int(denseShifts(s, i).Table)
		if d.Activation == model.Logistic {
			shift++
		}
		w.table(f, "dense", shift, 1, d.Outputs)
	}
	return f
}

// shared counts the code that functions call and that is not part of them: routines of the emitted
// C and of the compiler's library.
func (w way) shared(s quant.Shape, h helpers) runs {
	code := runs{}
	code.add("shared", 1)
	code.add("reset", len(s.Layers))
	for i, l := range s.Layers {
		key := layerKey(l.Kind, s.Formats.Layers[i].StateBits)
		code["uses_"+key] = 1
		if l.Kind.HasCell() {
			code.add("reset_cell", 1)
		}
	}
	for _, routine := range slices.Sorted(maps.Keys(h)) {
		if !h[routine] {
			code.add("routine_"+routine, 1)
		}
	}
	eachMatrix(s, func(m matrix) {
		if m.isHead {
			code["uses_head"+strconv.Itoa(m.bits)] = 1
		} else {
			code["uses_rows"+strconv.Itoa(m.bits)] = 1
		}
	})
	for i, d := range s.Dense {
		if usesTable(d.Activation) && i == len(s.Dense)-1 {
			code["uses_scale"] = 1
		} else if usesTable(d.Activation) {
			code["uses_dense_table"] = 1
		}
	}
	return code
}

// Function is one function of the emitted C: how often each kernel of it runs in a step, and what
// its code is made of.
type Function struct {
	Name          string // in the emitted C, behind the name of the job
	Kernels, Code map[string]float64
}

// Functions tells what a step is made of on an instruction set: the functions that are kept apart,
// and the code that they share. The command that fits budget/cost/kernels.toml reads it
// (testdata/kernels).
func Functions(s quant.Shape, isa string) (own []Function, shared map[string]float64) {
	parts, code := functions(s, isa)
	for _, f := range parts {
		delete(f.time, flashRead) // is part of other kernels
		own = append(own, Function{f.name, f.time, f.code})
	}
	return own, code
}

// PartFunctions names the functions of the emitted C that each part of the cycles of a step stands
// for.
func PartFunctions(s quant.Shape, isa string) map[string][]string {
	named := map[string][]string{}
	own, _ := functions(s, isa)
	for _, f := range own {
		named[f.part] = append(named[f.part], f.name)
	}
	return named
}

// CycleParts is what a step is expected to take on a core, in cycles by layer and purpose.
func CycleParts(s quant.Shape, core *targets.Profile) map[string]float64 {
	parts := map[string]float64{}
	for _, p := range cycleParts(s, core) {
		parts[p.Name] = p.Cycles
	}
	return parts
}

// Estimate is what a network is expected to take on a core: cycles of a step; flash of code,
// weights and tables, and stack, in bytes.
func Estimate(s quant.Shape, core *targets.Profile) (cycles float64, flash, stack int) {
	for _, p := range cycleParts(s, core) {
		cycles += p.Cycles
	}
	return cycles, CodeBytes(s, core.ISA) + s.WeightBytes() + s.TableBytes(),
		StackBytes(s, core.ISA)
}
