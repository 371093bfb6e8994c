package model

import (
	"kerf/portable"
)

// layerRun is the state of one recurrent layer and the memory of a step.
type layerRun struct {
	input, recurrent []float64   // W x + B and U h + D [Gates*Units]
	gates            [][]float64 // after their activation [Gates][Units]
	state            []float64   // [Units]
	cell             []float64   // [Units] in an LSTM, else nil
	kept             []float64   // r * h [Units] in a reset-before GRU, else nil
}

// newLayerRun returns a layer with zero state. The only gate of an Elman layer shares the memory of
// its state.
func newLayerRun(l *Recurrent) layerRun {
	rows := l.Kind.Gates() * l.Units
	s := layerRun{
		input:     make([]float64, rows),
		recurrent: make([]float64, rows),
		state:     make([]float64, l.Units),
	}
	switch l.Kind {
	case ElmanTanh, ElmanReLU:
		s.gates = [][]float64{s.state}
		return s
	case LSTM:
		s.cell = make([]float64, l.Units)
	case GRUResetBefore:
		s.kept = make([]float64, l.Units)
	}
	for range l.Kind.Gates() {
		s.gates = append(s.gates, make([]float64, l.Units))
	}
	return s
}

// step computes one time step of the equations of the layer's [Kind].
func (s *layerRun) step(l *Recurrent, x []float64) {
	affine(s.input, l.W, x, l.B)
	if l.Kind == GRUResetBefore {
		s.gruResetBefore(l)
		return
	}
	affine(s.recurrent, l.U, s.state, l.D)
	switch l.Kind {
	case GRUResetAfter:
		s.gruResetAfter()
	case LSTM:
		s.lstm()
	case ElmanTanh:
		for u := range s.state {
			s.state[u] = portable.Tanh(s.input[u] + s.recurrent[u])
		}
	case ElmanReLU:
		for u := range s.state {
			s.state[u] = max(0, s.input[u]+s.recurrent[u])
		}
	}
}

func (s *layerRun) gruResetAfter() {
	units := len(s.state)
	reset, update, candidate := s.gates[0][:units], s.gates[1][:units], s.gates[2][:units]
	for u, h := range s.state {
		r := portable.Logistic(s.input[u] + s.recurrent[u])
		z := portable.Logistic(s.input[units+u] + s.recurrent[units+u])
		n := portable.Tanh(s.input[2*units+u] + float64(r*s.recurrent[2*units+u]))
		reset[u], update[u], candidate[u] = r, z, n
		s.state[u] = float64((1-z)*n) + float64(z*h)
	}
}

// gruResetBefore computes all reset gates first, because the candidate's rows of U multiply the
// state after the reset.
func (s *layerRun) gruResetBefore(l *Recurrent) {
	units := len(s.state)
	reset, update, candidate := s.gates[0][:units], s.gates[1][:units], s.gates[2][:units]
	affine(s.recurrent[:2*units], l.U[:2*units*units], s.state, l.D[:2*units])
	for u, h := range s.state {
		r := portable.Logistic(s.input[u] + s.recurrent[u])
		reset[u], s.kept[u] = r, r*h
		update[u] = portable.Logistic(s.input[units+u] + s.recurrent[units+u])
	}
	affine(s.recurrent[2*units:], l.U[2*units*units:], s.kept, l.D[2*units:])
	for u, h := range s.state {
		z, n := update[u], portable.Tanh(s.input[2*units+u]+s.recurrent[2*units+u])
		candidate[u] = n
		s.state[u] = float64((1-z)*n) + float64(z*h)
	}
}

func (s *layerRun) lstm() {
	units := len(s.state)
	input, forget, candidate, output := s.gates[0][:units], s.gates[1][:units], s.gates[2][:units],
		s.gates[3][:units]
	for u, c := range s.cell {
		i := portable.Logistic(s.input[u] + s.recurrent[u])
		f := portable.Logistic(s.input[units+u] + s.recurrent[units+u])
		g := portable.Tanh(s.input[2*units+u] + s.recurrent[2*units+u])
		o := portable.Logistic(s.input[3*units+u] + s.recurrent[3*units+u])
		input[u], forget[u], candidate[u], output[u] = i, f, g, o
		c = float64(f*c) + float64(i*g)
		s.cell[u] = c
		s.state[u] = o * portable.Tanh(c)
	}
}
