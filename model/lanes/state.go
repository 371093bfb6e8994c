package lanes

import "kerf/model"

// State holds the states of eight sequences in one network, and the memory of a step. One State
// serves one goroutine.
type State struct {
	program *Program
	layers  []layerState
	dense   [][]float32 // per dense layer: its results [padded rows × Width]
}

// layerState holds the vectors of one recurrent layer, all of them [... × Width]. input, state and
// kept are parts of one buffer, in the order that [layer] says.
type layerState struct {
	both      []float32 // input and state, which layer.gates multiplies
	late      []float32 // reset-before GRU: input and kept, which layer.candidate multiplies
	input     []float32 // [inputs]
	state     []float32 // [units]
	kept      []float32 // reset-before GRU: state times reset gate [units]
	cell      []float32 // LSTM: cell state [units]
	seen      []float32 // LSTM: tanh of the cell state [units]
	gates     []float32 // results of layer.gates, then the gates [padded rows]
	candidate []float32 // GRU: results of layer.candidate [padded rows]
	recurrent []float32 // reset-after GRU: results of layer.recurrent [padded rows]
}

// NewState returns eight sequences with zero states.
func (p *Program) NewState() *State {
	s := &State{program: p}
	for i := range p.layers {
		s.layers = append(s.layers, newLayerState(&p.layers[i], func(n int) []float32 {
			return make([]float32, n)
		}))
	}
	for i := range p.dense {
		s.dense = append(s.dense, make([]float32, p.dense[i].padded()*Width))
	}
	return s
}

// newLayerState returns a layer with zero state, in memory of zeros that room gives.
func newLayerState(l *layer, room func(n int) []float32) layerState {
	x, h := l.inputs*Width, l.units*Width
	s := layerState{gates: room(l.gates.padded() * Width)}
	switch l.kind {
	case model.GRUResetBefore:
		all := room(h + x + h)
		s.both, s.late = all[:h+x], all[h:]
		s.state, s.input, s.kept = all[:h], all[h:h+x], all[h+x:]
		s.candidate = room(l.candidate.padded() * Width)
		return s
	case model.GRUResetAfter:
		s.candidate = room(l.candidate.padded() * Width)
		s.recurrent = room(l.recurrent.padded() * Width)
	case model.LSTM:
		s.cell, s.seen = room(h), room(h)
	}
	s.both = room(x + h)
	s.input, s.state = s.both[:x], s.both[x:]
	return s
}

// Reset zeroes hidden and cell states, as at the start of a sequence.
func (s *State) Reset() {
	for i := range s.layers {
		clear(s.layers[i].state)
		clear(s.layers[i].cell)
	}
}

// Begin zeroes the states of one lane.
func (s *State) Begin(lane int) {
	for i := range s.layers {
		s.layers[i].begin(lane)
	}
}

// begin zeroes the state of one lane.
func (s *layerState) begin(lane int) {
	for at := lane; at < len(s.state); at += Width {
		s.state[at] = 0
	}
	for at := lane; at < len(s.cell); at += Width {
		s.cell[at] = 0
	}
}

// Input returns the memory for the normalised features of a step [Inputs × Width], lane beside
// lane. The caller writes to it before [State.Step].
func (s *State) Input() []float32 { return s.layers[0].input }

// Output returns the raw outputs of the last step [Outputs × Width]; the next step overwrites them.
func (s *State) Output() []float32 {
	return s.dense[len(s.dense)-1][:s.program.outputs*Width]
}

// Hidden returns the hidden state of a recurrent layer [Units × Width]. The slice is live: a step
// changes it, and the caller may set it.
func (s *State) Hidden(layer int) []float32 { return s.layers[layer].state }

// Kept returns the state before the last step times the reset gate, of a reset-before GRU [Units ×
// Width]; of other layers it is nil.
func (s *State) Kept(layer int) []float32 { return s.layers[layer].kept }

// Step advances all lanes by one time step, from [State.Input] to [State.Output].
func (s *State) Step() { s.StepWith(nil) }

// StepWith does what [State.Step] does, and after each recurrent layer calls hold with the state
// that the layer has just computed [Units × Width]. hold may change the state; the next layer and
// the next step read the changed values. hold may be nil.
func (s *State) StepWith(hold func(layer int, state []float32)) {
	var x []float32
	for i := range s.layers {
		l := &s.layers[i]
		if i > 0 {
			copy(l.input, x)
		}
		l.step(&s.program.layers[i], Grid{})
		if hold != nil {
			hold(i, l.state)
		}
		x = l.state
	}
	for i := range s.dense {
		d := &s.program.dense[i]
		y := s.dense[i]
		d.apply(y, x)
		activate(d.activation, y)
		x = y
	}
}

// activate replaces every value by the activation's result for it.
func activate(a model.Activation, y []float32) {
	switch a {
	case model.ReLU:
		rectify(y)
	case model.Tanh:
		tanhAll(y)
	case model.Logistic:
		logisticAll(y)
	}
}

// step computes one step of the equations of the layer's [model.Kind]. It rounds the cell of an
// LSTM to a grid.
func (s *layerState) step(l *layer, cell Grid) {
	if l.units == 0 {
		return
	}
	l.gates.apply(s.gates, s.both)
	h := l.units * Width
	switch l.kind {
	case model.GRUResetAfter:
		l.candidate.apply(s.candidate, s.input)
		l.recurrent.apply(s.recurrent, s.state)
		logisticAll(s.gates[:2*h])
		addProduct(s.candidate[:h], s.gates[:h], s.recurrent[:h])
		tanhAll(s.candidate[:h])
		blend(s.state, s.gates[h:2*h], s.candidate[:h])
	case model.GRUResetBefore:
		logisticAll(s.gates[:2*h])
		product(s.kept, s.gates[:h], s.state)
		l.candidate.apply(s.candidate, s.late)
		tanhAll(s.candidate[:h])
		blend(s.state, s.gates[h:2*h], s.candidate[:h])
	case model.LSTM:
		input, forget, candidate, output := s.gates[:h], s.gates[h:2*h], s.gates[2*h:3*h],
			s.gates[3*h:4*h]
		logisticAll(s.gates[:2*h])
		tanhAll(candidate)
		logisticAll(output)
		product(s.cell, s.cell, forget)
		addProduct(s.cell, input, candidate)
		cell.round(s.cell)
		copy(s.seen, s.cell)
		tanhAll(s.seen)
		product(s.state, s.seen, output)
	case model.ElmanTanh:
		copy(s.state, s.gates)
		tanhAll(s.state)
	case model.ElmanReLU:
		copy(s.state, s.gates)
		rectify(s.state)
	default:
		panic("lanes: unknown kind of layer")
	}
}
