package model

import "kerf/portable"

// layerTape holds the values that one recurrent layer computed over a segment, and the derivatives
// on the way back.
type layerTape struct {
	state []float64 // [(steps+1) × Units]; the first is the state before the segment
	cell  []float64 // of an LSTM, like state; else nil
	gates []float64 // after their activation [steps × Gates*Units]
	// [steps × Units]: Un h + Dn of a reset-after GRU, r * h of a reset-before GRU, tanh(c') of an
	// LSTM; nil for an Elman layer
	inner []float64

	// derivatives
	change []float64 // by the states, from the layer above [steps × Units]
	input  []float64 // by W x + B [steps × Gates*Units]
	hidden []float64 // by U h + D, like input; the same slice where both are equal
}

func newLayerTape(l *Recurrent, steps int) layerTape {
	rows := l.Kind.Gates() * l.Units
	t := layerTape{
		state:  make([]float64, (steps+1)*l.Units),
		gates:  make([]float64, steps*rows),
		change: make([]float64, steps*l.Units),
		input:  make([]float64, steps*rows),
	}
	t.hidden = t.input
	switch l.Kind {
	case GRUResetAfter:
		t.hidden = make([]float64, steps*rows)
		t.inner = make([]float64, steps*l.Units)
	case GRUResetBefore:
		t.inner = make([]float64, steps*l.Units)
	case LSTM:
		t.inner = make([]float64, steps*l.Units)
		t.cell = make([]float64, (steps+1)*l.Units)
	}
	return t
}

// begin keeps the state before the segment.
func (t *layerTape) begin(run *layerRun) {
	copy(t.state, run.state)
	copy(t.cell, run.cell)
}

// record keeps the values of the step that run has just computed.
func (t *layerTape) record(step int, l *Recurrent, run *layerRun) {
	units := l.Units
	copy(t.state[(step+1)*units:], run.state)
	for g, gate := range run.gates {
		copy(t.gates[(step*l.Kind.Gates()+g)*units:], gate)
	}
	inner := t.inner[min(step*units, len(t.inner)):]
	switch l.Kind {
	case GRUResetAfter:
		copy(inner, run.recurrent[2*units:])
	case GRUResetBefore:
		copy(inner, run.kept)
	case LSTM:
		copy(t.cell[(step+1)*units:], run.cell)
		for u, c := range run.cell {
			inner[u] = portable.Tanh(c)
		}
	}
}

// backward goes from the last step of the segment to the first. It sets the derivatives by W x + B
// and U h + D on the tape, and those by the state and cell before the segment in state and cell
// [Units]. It adds those by recurrent weights and both biases to g.
func (t *layerTape) backward(l *Recurrent, g *Recurrent, steps int, state, cell []float64) {
	units, rows := l.Units, l.Kind.Gates()*l.Units
	clear(state)
	clear(cell)
	for step := steps - 1; step >= 0; step-- {
		s := &layerStep{
			before: t.state[step*units : (step+1)*units],
			after:  t.state[(step+1)*units : (step+2)*units],
			gates:  t.gates[step*rows : (step+1)*rows],
			input:  t.input[step*rows : (step+1)*rows],
			hidden: t.hidden[step*rows : (step+1)*rows],
		}
		if t.inner != nil {
			s.inner = t.inner[step*units : (step+1)*units]
		}
		for u, v := range t.change[step*units : (step+1)*units] {
			state[u] += v
		}
		switch l.Kind {
		case GRUResetAfter:
			s.gruResetAfter(state)
		case GRUResetBefore:
			s.gruResetBefore(l, g, state)
		case LSTM:
			s.lstm(t.cell[step*units:(step+1)*units], state, cell)
		default:
			s.elman(l.Kind, state)
		}
		addRows(state, s.hidden[:t.multiplied(l)], l.U)
		for r, v := range s.input {
			g.B[r] += v
			g.D[r] += s.hidden[r]
		}
	}
	t.addRecurrentWeights(l, g, steps)
}

// multiplied returns the number of rows of U that multiply the state itself.
func (t *layerTape) multiplied(l *Recurrent) int {
	if l.Kind == GRUResetBefore {
		return 2 * l.Units
	}
	return l.Kind.Gates() * l.Units
}

// addRecurrentWeights adds the derivatives by the recurrent weights that multiply the state, from
// the last step to the first.
func (t *layerTape) addRecurrentWeights(l *Recurrent, g *Recurrent, steps int) {
	units, rows := l.Units, l.Kind.Gates()*l.Units
	v := func(step int) []float64 { return t.state[step*units : (step+1)*units] }
	step := steps
	for ; step >= 4; step -= 4 {
		v0, v1, v2, v3 := v(step-1), v(step-2), v(step-3), v(step-4)
		for r := range t.multiplied(l) {
			at := (step-1)*rows + r
			addScaled4(g.U[r*units:(r+1)*units], t.hidden[at], t.hidden[at-rows],
				t.hidden[at-2*rows], t.hidden[at-3*rows], v0, v1, v2, v3)
		}
	}
	for ; step > 0; step-- {
		for r := range t.multiplied(l) {
			addScaled(g.U[r*units:(r+1)*units], t.hidden[(step-1)*rows+r], v(step-1))
		}
	}
}

// addInputWeights adds the derivatives by the input weights; x holds the inputs of the layer [steps
// × Inputs].
func (t *layerTape) addInputWeights(l *Recurrent, g *Recurrent, steps int, x []float64) {
	rows := l.Kind.Gates() * l.Units
	v := func(step int) []float64 { return x[step*l.Inputs : (step+1)*l.Inputs] }
	step := 0
	for ; step+4 <= steps; step += 4 {
		v0, v1, v2, v3 := v(step), v(step+1), v(step+2), v(step+3)
		for r := range rows {
			at := step*rows + r
			addScaled4(g.W[r*l.Inputs:(r+1)*l.Inputs], t.input[at], t.input[at+rows],
				t.input[at+2*rows], t.input[at+3*rows], v0, v1, v2, v3)
		}
	}
	for ; step < steps; step++ {
		for r := range rows {
			addScaled(g.W[r*l.Inputs:(r+1)*l.Inputs], t.input[step*rows+r], v(step))
		}
	}
}

// inputChange sets below [steps × Inputs] to the derivatives by the inputs of the layer.
func (t *layerTape) inputChange(l *Recurrent, steps int, below []float64) {
	rows := l.Kind.Gates() * l.Units
	clear(below[:steps*l.Inputs])
	for step := range steps {
		addRows(below[step*l.Inputs:(step+1)*l.Inputs], t.input[step*rows:(step+1)*rows], l.W)
	}
}

// layerStep has the parts of a [layerTape] that belong to one step.
type layerStep struct {
	before, after        []float64 // state [Units]
	gates, input, hidden []float64 // [Gates*Units]
	inner                []float64 // [Units]
}

// gruResetAfter goes back through one step, as gruResetBefore, lstm and elman do. In state it finds
// the derivatives by the state after the step, and leaves those by the state before it, without the
// part that goes through U.
func (s *layerStep) gruResetAfter(state []float64) {
	units := len(state)
	r, z, n := s.gates[:units], s.gates[units:2*units], s.gates[2*units:]
	for u, change := range state {
		candidate := change * (1 - z[u]) * (1 - float64(n[u]*n[u]))
		update := change * (s.before[u] - n[u]) * z[u] * (1 - z[u])
		reset := candidate * s.inner[u] * r[u] * (1 - r[u])
		s.input[u], s.input[units+u], s.input[2*units+u] = reset, update, candidate
		s.hidden[u], s.hidden[units+u], s.hidden[2*units+u] = reset, update, candidate*r[u]
		state[u] = change * z[u]
	}
}

// gruResetBefore also goes back through the candidate's rows of U, which multiply r * h, and adds
// the derivatives by them to g.
func (s *layerStep) gruResetBefore(l *Recurrent, g *Recurrent, state []float64) {
	units := len(state)
	r, z, n := s.gates[:units], s.gates[units:2*units], s.gates[2*units:]
	kept := s.input[:units] // derivatives by r * h, overwritten by those of the reset gate below
	clear(kept)
	for u, change := range state {
		candidate := change * (1 - z[u]) * (1 - float64(n[u]*n[u]))
		s.input[units+u] = change * (s.before[u] - n[u]) * z[u] * (1 - z[u])
		s.input[2*units+u] = candidate
		row := (2*units + u) * units
		addScaled(g.U[row:row+units], candidate, s.inner)
		addScaled(kept, candidate, l.U[row:row+units])
		state[u] = change * z[u]
	}
	for u, change := range kept {
		state[u] += float64(change * r[u])
		s.input[u] = change * s.before[u] * r[u] * (1 - r[u])
	}
}

// lstm finds and leaves the derivatives by the cell in the same way; before is the cell before the
// step.
func (s *layerStep) lstm(before, state, cell []float64) {
	units := len(state)
	i, f, g, o := s.gates[:units], s.gates[units:2*units], s.gates[2*units:3*units],
		s.gates[3*units:]
	for u, change := range state {
		seen := s.inner[u]
		c := cell[u] + float64(change*o[u]*(1-float64(seen*seen)))
		s.input[u] = c * g[u] * i[u] * (1 - i[u])
		s.input[units+u] = c * before[u] * f[u] * (1 - f[u])
		s.input[2*units+u] = c * i[u] * (1 - float64(g[u]*g[u]))
		s.input[3*units+u] = change * seen * o[u] * (1 - o[u])
		cell[u] = c * f[u]
		state[u] = 0
	}
}

func (s *layerStep) elman(k Kind, state []float64) {
	activation := Tanh
	if k == ElmanReLU {
		activation = ReLU
	}
	for u, change := range state {
		s.input[u] = change * activation.slope(s.after[u])
		state[u] = 0
	}
}
