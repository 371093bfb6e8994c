package budget

import (
	"fmt"
	"strconv"

	"kerf/model"
	"kerf/quant"
	"kerf/targets"
)

// The emitted C reads the rows of a matrix in one of three ways (exporter/c/rows.c). The constants below agree with
// exporter/reading.go and exporter/layout.go; TestEstimatesAgreeWithTheEmittedC compares both.
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

// runs counts how often each kernel of the emitted C runs, or how often each part of its code stands there.
type runs map[string]float64

func (r runs) add(kernel string, n int) {
	if n != 0 {
		r[kernel] += float64(n)
	}
}

// pieces are the calls that read the columns of a group of rows, by columns: the emitted C takes the widest that fits.
func (w way) pieces(bits int) []int {
	switch {
	case w == threeWay && bits == 4:
		return []int{2, 1}
	case w == threeWay:
		return []int{1}
	case bits == 4:
		return []int{4}
	case w == byteWay && bits == 8:
		return []int{1}
	case bits == 8:
		return []int{4, 2, 1}
	}
	return []int{2, 1}
}

// block counts what reading a block of rows takes. Kernels: "rows" per call; "sum" per column whose inputs are summed;
// "group" per group of rows, "turn" per turn of the loop over them, "loop" per group that loops over columns and
// "round" per turn of that loop; "cN" per call that reads N columns ("_kept": whose inputs stay in registers); "tail" and "tailC" for int4 columns that do not fill
// a group; "alone" and "aloneC" for rows that are left. Each carries the width of the weights.
func (w way) block(time, code runs, rows, columns, bits int) {
	name := func(kernel string) string { return kernel + strconv.Itoa(bits) }
	call := func(columns int) string { return name("c" + strconv.Itoa(columns)) }
	time.add(name("rows"), 1)
	code.add(name("rows"), 1)
	groups := rows / w.rows
	left := rows % w.rows
	tail := 0
	if bits == 4 && w != threeWay {
		tail = columns % 4
	}
	grouped := columns - tail
	if summed := w.summed(bits, columns); groups > 0 && summed > 0 {
		time.add("sum", 1)
		time.add("sumC", summed)
		code.add(name("sum"), 1)
	}
	looped := grouped > w.straight
	bodies := 1
	if !looped && groups > 1 {
		bodies = w.groups
	}
	turns := groups / bodies
	if turns > 1 {
		time.add(name("turn"), turns)
	}
	time.add(name("group"), groups)
	emitted := 0 // bodies that stand in the code
	if turns > 0 {
		emitted = bodies
	}
	if groups%bodies == 1 {
		emitted++
	}
	code.add(name("group"), emitted)
	first := w.pieces(bits)[0]
	each, rounds := 0, 0 // pieces in one round of the loop over columns
	if looped && grouped > 0 {
		rounds = (grouped + w.straight - 1) / w.straight
		each = grouped / first / rounds
		time.add(name("loop"), groups)
		time.add(name("round"), groups*rounds)
		code.add(name("loop"), emitted)
		time.add(call(first), groups*rounds*each)
		time.add(flashRead, groups*rounds*each*w.reads(bits, first))
		code.add(call(first), emitted*each)
	}
	rest := grouped - rounds*each*first
	time.add(flashRead, 2*rows) // biases and shifts
	for _, piece := range w.pieces(bits) {
		time.add(flashRead, groups*(rest/piece)*w.reads(bits, piece))
		if columns <= w.kept {
			time.add(call(piece)+"_kept", groups*(rest/piece))
		} else {
			time.add(call(piece), groups*(rest/piece))
		}
		if w == byteWay && bits == 8 {
			code.add(call(piece), emitted)
		} else {
			code.add(call(piece), emitted*(rest/piece))
		}
		rest %= piece
	}
	if tail > 0 {
		time.add("tail", groups)
		time.add("tailC", groups*tail)
		time.add(flashRead, groups*w.rows*tail)
		code.add("tail", emitted)
	}
	if left > 0 {
		time.add(name("left"), 1)
		time.add(name("alone"), left)
		time.add(name("aloneC"), left*columns)
		time.add(flashRead, left*columns)
		code.add(name("left"), 1)
	}
}

// flashRead counts the constants that a step reads: biases, shifts, weights, and nodes of the table. Executed loads
// through a register do not tell flash from RAM, so waiting for these is added by this count.
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

// stepRuns counts one step: kernels, and parts of the code.
func stepRuns(s quant.Shape, isa string) (time, code runs) {
	w := wayOf(isa)
	time, code = runs{}, runs{}
	time.add("step", 1)
	code.add("step", 1)
	widths := map[int]bool{}
	in := s.Features
	for i, l := range s.Layers {
		f := s.Formats.Layers[i]
		gates := l.Kind.Gates()
		w.block(time, code, gates*l.Units, in, f.InputBits)
		if l.Kind == model.GRUResetBefore { // the candidate's rows are read later
			w.block(time, code, 2*l.Units, l.Units, f.RecurrentBits)
			w.block(time, code, l.Units, l.Units, f.RecurrentBits)
		} else {
			w.block(time, code, gates*l.Units, l.Units, f.RecurrentBits)
		}
		widths[f.InputBits], widths[f.RecurrentBits] = true, true
		key := layerKey(l.Kind, f.StateBits)
		time.add("layer_"+key, 1)
		time.add(key, l.Units)
		time.add(flashRead, tableReads*l.Units*nonlinear(l.Kind))
		code.add(key, 1)
		in = l.Units
	}
	for i, d := range s.Dense {
		bits := s.Formats.Dense[i]
		last := i == len(s.Dense)-1
		widths[bits] = true
		if last && !usesTable(d.Activation) {
			time.add(fmt.Sprintf("head%d", bits), d.Outputs)
			time.add(fmt.Sprintf("headC%d", bits), d.Outputs*in)
			time.add(flashRead, d.Outputs*(1+in))
			code.add(fmt.Sprintf("head%d", bits), 1)
			if d.Outputs == 1 {
				code.add("one_output", 1)
			}
		} else {
			w.block(time, code, d.Outputs, in, bits)
			time.add("dense", 1)
			time.add(d.Activation.String()+"_row", d.Outputs)
			if usesTable(d.Activation) {
				time.add(flashRead, tableReads*d.Outputs)
			}
			code.add(d.Activation.String()+"_row", 1)
		}
		in = d.Outputs
	}
	for bits := range widths {
		code.add(fmt.Sprintf("w%d", bits), 1)
	}
	if s.UsesTable() {
		code.add("table", 1)
	}
	return time, code
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

// StepRuns tells how often each kernel of the emitted C runs in one step on an instruction set, and what its code is
// made of. The command that fits budget/kernels.toml reads it (testdata/kernels).
func StepRuns(s quant.Shape, isa string) (kernels, code map[string]float64) {
	time, parts := stepRuns(s, isa)
	delete(time, flashRead) // is part of other kernels
	return time, parts
}

// StackArrays is how many bytes of arrays the emitted C has on the stack, each filled to 8 bytes as the stack is on arm and
// rv32: those of the step (16-bit views of wide states, results between dense layers), and those of the layer
// that has the largest.
func StackArrays(s quant.Shape) int {
	const frameAlign = 8
	int16s := func(n int) int { return (2*n + frameAlign - 1) / frameAlign * frameAlign }
	step, layer := 0, 0
	for i, l := range s.Layers {
		isGRU := l.Kind == model.GRUResetAfter || l.Kind == model.GRUResetBefore
		if isGRU && s.Formats.Layers[i].StateBits == 32 {
			step += int16s(l.Units)
		}
		rows := l.Kind.Gates() * l.Units
		own := 2 * int16s(rows) // results of input and recurrent rows
		if l.Kind == model.GRUResetBefore {
			own = int16s(rows) + int16s(2*l.Units) + 2*int16s(l.Units) // and the scaled state and a gate
		}
		layer = max(layer, own)
	}
	for i, d := range s.Dense {
		if i < len(s.Dense)-1 {
			step += int16s(d.Outputs)
		} else if usesTable(d.Activation) {
			layer = max(layer, int16s(d.Outputs))
		}
	}
	return step + layer
}

// Estimate is what a network is expected to take on a core: cycles of a step; flash of code, weights and tables, and
// stack, in bytes.
func Estimate(s quant.Shape, core *targets.Profile) (cycles float64, flash, stack int) {
	k := kernelsFor(core.ISA)
	for _, p := range cycleParts(s, k, Target{Core: core}) {
		cycles += p.value
	}
	return cycles, k.codeBytes(s, core.ISA) + s.WeightBytes() + s.TableBytes(), k.stackBytes(s)
}
