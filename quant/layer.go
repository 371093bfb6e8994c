package quant

import (
	"kerf/model"
)

// Layer is one recurrent layer in fixed point.
type Layer struct {
	Kind    model.Kind
	Units   int
	Formats LayerFormats

	InputFraction  int // fraction bits of the int16 inputs
	OutputFraction int // of the int16 outputs, the hidden state as matrices multiply it
	GateFraction   int // of a pre-activation; also fixes the shift into the tanh table
	CellFraction   int // LSTM: of the cell

	Input     *Matrix // Gates·Units × inputs
	Recurrent *Matrix // Gates·Units × Units

	lost []uint8 // per unit, bits of a wide state that are rounded off; nil without a [Partial]
}

// quantizeLayer brings a float layer to fixed point. in is the number of fraction bits of its
// inputs, r the ranges that it shows on selection recordings, bits the words of single rows of W
// and U, see [Partial.bits].
func quantizeLayer(name string, l *model.Recurrent, in int, r LayerRange, formats LayerFormats,
	rounding Rounding, bits [2][]int) (*Layer, error) {
	inputs, states := rounding.compensatorFor(r.Inputs), rounding.compensatorFor(r.States)
	if l.Kind == model.GRUResetBefore {
		states = nil // the candidate multiplies r·h, whose moments are not known
	}
	var plans []rowPlan
	var inputRows, stateRows []*compensator
	if rounding.Fitted() {
		plans = r.plans(l.Inputs)
		for _, plan := range plans {
			inputRows, stateRows = append(inputRows, plan.input), append(stateRows, plan.recurrent)
		}
	}
	q := &Layer{Kind: l.Kind, Units: l.Units, Formats: formats, InputFraction: in,
		OutputFraction: stateFraction}
	switch l.Kind {
	case model.LSTM:
		if formats.StateBits == 32 {
			// 30 bits of magnitude instead of 15.
			q.CellFraction = min(fractionFor(r.Cell, stateFraction)+wideStateFraction-stateFraction,
				wideStateFraction)
		} else {
			q.CellFraction = narrowCellFraction(r)
		}
	case model.ElmanReLU:
		q.OutputFraction = fractionFor(max(r.State, r.Gate), stateFraction-1)
	}
	// Large weights may leave no shift between their row and a fine gate format;
	// a coarser one makes room.
	top := max(minGateFraction, fractionFor(r.Gate, maxGateFraction))
	if l.Kind == model.ElmanReLU {
		top = q.OutputFraction
	}
	lowest := minGateFraction
	if l.Kind == model.ElmanReLU {
		lowest = coarsest
	}
	return q, withCoarser(top, lowest, func(fraction int) (err error) {
		q.GateFraction = fraction
		if l.Kind == model.ElmanReLU {
			q.OutputFraction = fraction
		}
		rows := l.Kind.Gates() * l.Units
		if q.Input, err = quantizeMatrix(l.W, l.B, rowSpec{
			name: name + ".weight_ih", rows: rows, cols: l.Inputs, wordBits: formats.InputBits,
			in: in, out: fraction, compensate: inputs, byRow: inputRows, bitsByRow: bits[0],
		}); err != nil {
			return err
		}
		q.Recurrent, err = quantizeMatrix(pushed(l, q.Input, plans), l.D, rowSpec{
			name: name + ".weight_hh", rows: rows, cols: l.Units, wordBits: formats.RecurrentBits,
			in: q.OutputFraction, out: fraction, compensate: states, byRow: stateRows,
			bitsByRow: bits[1],
		})
		return err
	})
}

// narrowCellFraction returns the number of fraction bits of a 16-bit cell.
func narrowCellFraction(r LayerRange) int {
	return max(fractionFor(r.Cell, maxCellFraction), minGateFraction)
}

// withCoarser tries a number of fraction bits and, while a row of weights does not fit, the next
// lower number down to lowest.
func withCoarser(top, lowest int, try func(fraction int) error) error {
	err := try(top)
	for fraction := top - 1; isRangeError(err) && fraction >= lowest; fraction-- {
		err = try(fraction)
	}
	return err
}

// TableShift returns how far a pre-activation is shifted right to an index of the tanh table.
func (q *Layer) TableShift() uint8 { return uint8(q.GateFraction - tableBits) }

// CellShift returns how far a product of gate and candidate is shifted right to the format of the
// cell: from 15 fraction bits to those of a narrow cell, from 31 to those of a wide cell.
func (q *Layer) CellShift() uint8 {
	if q.Formats.StateBits == 32 {
		return uint8(31 - q.CellFraction)
	}
	return uint8(stateFraction - q.CellFraction)
}

// CellView returns the shifts that bring a cell to the tanh table: view, of a wide cell to
// maxGateFraction bits (0 for a narrow cell), and table, from there to an index of the table.
func (q *Layer) CellView() (view, table uint8) {
	if q.wide() {
		return uint8(q.CellFraction - maxGateFraction), maxGateFraction - tableBits
	}
	return 0, uint8(q.CellFraction - tableBits)
}

// wide reports whether 32 bits are kept between steps.
func (q *Layer) wide() bool { return q.Formats.StateBits == 32 }

// layerState is the state of one layer in one sequence, with scratch.
type layerState struct {
	h    []int32 // GRU: state, OutputFraction or wideStateFraction bits; else as view
	c    []int32 // LSTM: cell, CellFraction bits
	view []int32 // the hidden state as int16 with OutputFraction bits
	next []int32 // scratch: h after the step
	in   []int32 // scratch: results of the input matrix [Gates·Units]
	re   []int32 // scratch: results of the recurrent matrix [Gates·Units]
}

// newState returns a zero state.
func (q *Layer) newState() *layerState {
	rows := q.Kind.Gates() * q.Units
	s := &layerState{h: make([]int32, q.Units), view: make([]int32, q.Units),
		next: make([]int32, q.Units), in: make([]int32, rows), re: make([]int32, rows)}
	if q.Kind.HasCell() {
		s.c = make([]int32, q.Units)
	}
	return s
}

// reset zeroes the state.
func (s *layerState) reset() {
	clear(s.h)
	clear(s.c)
	clear(s.view)
}

// step advances a layer by one time step for the inputs x; afterwards s.view holds its outputs. c
// counts what leaves its range, unless it is nil.
func (q *Layer) step(s *layerState, x []int32, c *LayerCounts) {
	q.Input.results(0, q.Input.Rows, x, s.in)
	if q.Kind != model.GRUResetBefore {
		q.Recurrent.results(0, q.Recurrent.Rows, s.view, s.re)
	}
	switch q.Kind {
	case model.GRUResetAfter:
		q.gruAfter(s, c)
	case model.GRUResetBefore:
		q.gruBefore(s, c)
	case model.LSTM:
		q.lstm(s, c)
	case model.ElmanTanh:
		q.elman(s, c, func(v int32) int32 { return tanhQ15(v, q.TableShift()) })
	case model.ElmanReLU:
		q.elman(s, c, func(v int32) int32 { return max(v, 0) })
	default:
		panic("quant: unknown kind of layer")
	}
	if c != nil {
		c.outputs(s.view)
	}
}

// gruAfter is a step of a GRU whose reset gate acts behind the recurrent product.
func (q *Layer) gruAfter(s *layerState, c *LayerCounts) {
	shift := q.TableShift()
	for j := range q.Units {
		inR, inZ, inN := s.in[j], s.in[q.Units+j], s.in[2*q.Units+j]
		reR, reZ, reN := s.re[j], s.re[q.Units+j], s.re[2*q.Units+j]
		reset := logisticQ16(sat16(inR+reR), shift)
		keep := logisticQ16(sat16(inZ+reZ), shift)
		candidate := tanhQ15(sat16(inN+scaleQ16(reset, reN)), shift)
		s.next[j] = q.coarsened(j, q.blend(keep, s.h[j], candidate))
		if c != nil {
			c.gates(inR, inZ, inN, reR, reZ, reN)
			c.move(j, s.h[j], s.next[j], candidate, s.view[j])
		}
	}
	q.commit(s)
}

// gruBefore is a step of a GRU whose reset gate acts on the state before the recurrent product.
func (q *Layer) gruBefore(s *layerState, c *LayerCounts) {
	shift := q.TableShift()
	units := q.Units
	scaled, keeps := make([]int32, units), make([]int32, units)
	q.Recurrent.results(0, 2*units, s.view, s.re)
	for j := range units {
		inR, inZ, reR, reZ := s.in[j], s.in[units+j], s.re[j], s.re[units+j]
		scaled[j] = scaleQ16(logisticQ16(sat16(inR+reR), shift), s.view[j])
		keeps[j] = logisticQ16(sat16(inZ+reZ), shift)
		if c != nil {
			c.gates(inR, inZ, reR, reZ)
		}
	}
	q.Recurrent.results(2*units, 3*units, scaled, s.re[2*units:])
	for j := range units {
		inN, reN := s.in[2*units+j], s.re[2*units+j]
		candidate := tanhQ15(sat16(inN+reN), shift)
		s.next[j] = q.blend(keeps[j], s.h[j], candidate)
		if c != nil {
			c.gates(inN, reN)
			c.move(j, s.h[j], s.next[j], candidate, s.view[j])
		}
	}
	q.commit(s)
}

// lstm is a step of an LSTM.
func (q *Layer) lstm(s *layerState, c *LayerCounts) {
	shift := q.TableShift()
	view, table := q.CellView()
	units := q.Units
	for j := range units {
		var sum [4]int32 // i, f, g, o
		for g := range sum {
			in, re := s.in[g*units+j], s.re[g*units+j]
			sum[g] = sat16(in + re)
			if c != nil {
				c.gates(in, re)
			}
		}
		add, keep := logisticQ16(sum[0], shift), logisticQ16(sum[1], shift)
		candidate, open := tanhQ15(sum[2], shift), logisticQ16(sum[3], shift)
		old := s.c[j]
		var seen int32
		if q.wide() {
			s.c[j] = q.coarsened(j, cell32(keep, old, add, candidate, q.CellShift()))
			seen = tanhQ15(narrow(s.c[j], view), table)
		} else {
			s.c[j] = cell16(keep, old, add, candidate, q.CellShift())
			seen = tanhQ15(s.c[j], table)
		}
		s.next[j] = scaleQ16(open, seen)
		if c != nil {
			c.cell(q, s.c[j])
		}
	}
	q.commit(s)
}

// elman is a step of a layer with one row per unit and the given activation.
func (q *Layer) elman(s *layerState, c *LayerCounts, activation func(int32) int32) {
	for j := range q.Units {
		in, re := s.in[j], s.re[j]
		s.next[j] = activation(sat16(in + re))
		if c != nil {
			c.gates(in, re)
		}
	}
	q.commit(s)
}

// blend returns the next state of a GRU unit, in the word of the state.
func (q *Layer) blend(keep, old, candidate int32) int32 {
	if q.wide() {
		return blendQ30(keep, old, candidate)
	}
	return blendQ15(keep, old, candidate)
}

// commit makes s.next the hidden state and sets s.view to its 16-bit view, the outputs of the
// layer.
func (q *Layer) commit(s *layerState) {
	s.h, s.next = s.next, s.h
	wideGRU := q.wide() && !q.Kind.HasCell()
	for j, h := range s.h {
		if wideGRU {
			h = narrow(h, wideStateFraction-stateFraction)
		}
		s.view[j] = h
	}
}

// row returns the result of row r for the input v, rescaled and saturated.
func (m *Matrix) row(r int, v []int32) int32 {
	w := m.W[r*m.Cols : (r+1)*m.Cols]
	w = w[:len(v)]
	sum := m.Bias[r]
	for i, x := range v {
		sum += w[i] * x
	}
	return sat16(roundShift(sum, m.Shift[r]))
}

// resultsGo sets y to [Matrix.row] for the rows from..to and the input v.
func (m *Matrix) resultsGo(from, to int, v, y []int32) {
	for r := from; r < to; r++ {
		y[r-from] = m.row(r, v)
	}
}
