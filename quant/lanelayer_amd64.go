package quant

import "kerf/model"

// laneLayer is one recurrent layer of eight sequences with its state, see layerState.
type laneLayer struct {
	*Layer
	input, recurrent *laneMatrix
	// late has the rows of the candidate of a reset-before GRU; recurrent then lacks these rows.
	late *laneMatrix

	in, re, lateRe   []int32 // results of input, recurrent and late
	gates, candidate []int32
	h, cell          []int32  // state of a GRU or output of another layer; cell of an LSTM
	view             []int32  // the outputs as int16, an even number of vectors
	packed           []uint32 // view in pairs
	reset            []int32  // reset-before GRU: view times reset gate, an even number of vectors
	resetPacked      []uint32 // reset in pairs
	zero             []int32
}

// newLaneLayer lays out the matrices of a layer and makes room for eight zero states.
func newLaneLayer(q *Layer) *laneLayer {
	units := q.Units * laneCount
	l := &laneLayer{Layer: q, input: newLaneMatrix(q.Input, 0, q.Input.Rows)}
	early := q.Recurrent.Rows
	if q.Kind == model.GRUResetBefore {
		early = 2 * q.Units
		l.late = newLaneMatrix(q.Recurrent, early, q.Recurrent.Rows)
		l.lateRe = make([]int32, l.late.padded()*laneCount)
		l.reset, l.resetPacked = pairsOf(q.Units)
	}
	l.recurrent = newLaneMatrix(q.Recurrent, 0, early)
	l.in, l.re = make([]int32, l.input.padded()*laneCount),
		make([]int32, l.recurrent.padded()*laneCount)
	l.gates, l.candidate = make([]int32, q.Input.Rows*laneCount), make([]int32, units)
	l.h, l.zero = make([]int32, units), make([]int32, units)
	l.view, l.packed = pairsOf(q.Units)
	if q.Kind.HasCell() {
		l.cell = make([]int32, units)
	}
	return l
}

// pairsOf makes room for n vectors of int16 values, one by one and in pairs.
func pairsOf(n int) (vectors []int32, packed []uint32) {
	pairs := (n + 1) / 2
	return make([]int32, 2*pairs*laneCount), make([]uint32, pairs*laneCount)
}

// step is [Layer.step] for eight sequences; afterwards packed holds the outputs.
func (l *laneLayer) step(x []uint32) {
	l.input.apply(l.in, x)
	l.recurrent.apply(l.re, l.packed)
	units, shift := l.Units*laneCount, l.TableShift()
	in, re := l.in, l.re
	switch l.Kind {
	case model.GRUResetAfter:
		logisticSums(l.gates[:2*units], in, re, shift)
		scaleAll(l.candidate, l.gates, re[2*units:])
		tanhSums(l.candidate, in[2*units:], l.candidate, shift)
		l.blendAll(l.gates[units:])
	case model.GRUResetBefore:
		logisticSums(l.gates[:2*units], in, re, shift)
		scaleAll(l.reset[:units], l.gates, l.view)
		pack(l.resetPacked, l.reset)
		l.late.apply(l.lateRe, l.resetPacked)
		tanhSums(l.candidate, in[2*units:], l.lateRe, shift)
		l.blendAll(l.gates[units:])
	case model.LSTM:
		logisticSums(l.gates[:2*units], in, re, shift)
		tanhSums(l.candidate, in[2*units:], re[2*units:], shift)
		logisticSums(l.gates[3*units:], in[3*units:], re[3*units:], shift)
		l.moveCells(l.gates[:units], l.gates[units:2*units])
		_, table := l.CellView()
		tanhSums(l.h, l.h, l.zero, table)
		scaleAll(l.h, l.gates[3*units:], l.h)
	case model.ElmanTanh:
		tanhSums(l.h, in, re, shift)
	case model.ElmanReLU:
		for i := range l.h {
			l.h[i] = max(sat16(in[i]+re[i]), 0)
		}
	default:
		panic("quant: unknown kind of layer")
	}
	if l.wide() && !l.Kind.HasCell() {
		for i, h := range l.h {
			l.view[i] = narrow(h, wideStateFraction-stateFraction)
		}
	} else {
		copy(l.view, l.h)
	}
	pack(l.packed, l.view)
}

// blendAll moves the state of a GRU by its update gate.
func (l *laneLayer) blendAll(keep []int32) {
	if !l.wide() {
		blendNarrow(l.h, keep, l.candidate)
		return
	}
	for i, h := range l.h {
		next := blendQ30(keep[i], h, l.candidate[i])
		if l.Kind == model.GRUResetAfter {
			next = l.coarsened(i/laneCount, next)
		}
		l.h[i] = next
	}
}

// moveCells moves the cells of an LSTM and leaves in h the cells as the table takes them.
func (l *laneLayer) moveCells(add, keep []int32) {
	shift := l.CellShift()
	view, _ := l.CellView()
	for i, old := range l.cell {
		if l.wide() {
			l.cell[i] = l.coarsened(i/laneCount,
				cell32(keep[i], old, add[i], l.candidate[i], shift))
			l.h[i] = narrow(l.cell[i], view)
		} else {
			l.cell[i] = cell16(keep[i], old, add[i], l.candidate[i], shift)
			l.h[i] = l.cell[i]
		}
	}
}

// The functions below set as many vectors as their first slice has. The statements that do nothing
// else check the lengths that the assembly does not.

// logisticSums sets y to logisticQ16(sat16(a+b), shift).
func logisticSums(y, a, b []int32, shift uint8) {
	_, _ = a[len(y)-1], b[len(y)-1]
	logisticSumsAVX2(&y[0], &a[0], &b[0], len(y)/laneCount, uint64(shift), &tanhTable[0])
}

// tanhSums sets y to tanhQ15(sat16(a+b), shift).
func tanhSums(y, a, b []int32, shift uint8) {
	_, _ = a[len(y)-1], b[len(y)-1]
	tanhSumsAVX2(&y[0], &a[0], &b[0], len(y)/laneCount, uint64(shift), &tanhTable[0])
}

// scaleAll sets y to scaleQ16(gate, v).
func scaleAll(y, gate, v []int32) {
	_, _ = gate[len(y)-1], v[len(y)-1]
	scaleAVX2(&y[0], &gate[0], &v[0], len(y)/laneCount)
}

// blendNarrow sets h to blendQ15(keep, h, candidate).
func blendNarrow(h, keep, candidate []int32) {
	_, _ = keep[len(h)-1], candidate[len(h)-1]
	blendAVX2(&h[0], &keep[0], &candidate[0], len(h)/laneCount)
}

// pack sets y to pairs of neighbouring vectors of v.
func pack(y []uint32, v []int32) {
	_ = v[2*len(y)-1]
	packAVX2(&y[0], &v[0], len(y)/laneCount)
}
