package model

import (
	"kerf/portable"
)

// layerRun is the state of one recurrent layer and the memory of a step.
type layerRun struct {
	input, recurrent []float64   // W x + B and U h + D [Gates*Units]
	gates            [][]float64 // after their activation [Gates][Units]
	all              []float64   // the gates one behind the other; nil in an Elman layer
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
	s.all = make([]float64, rows)
	for gate := range l.Kind.Gates() {
		s.gates = append(s.gates, s.all[gate*l.Units:(gate+1)*l.Units:(gate+1)*l.Units])
	}
	return s
}

// step computes one time step of the equations of the layer's [Kind].
func (s *layerRun) step(l *Recurrent, x []float64) {
	portable.Affine(s.input, l.W, x, l.B)
	if l.Kind == GRUResetBefore {
		s.gruResetBefore(l)
		return
	}
	portable.Affine(s.recurrent, l.U, s.state, l.D)
	switch l.Kind {
	case GRUResetAfter:
		s.gruResetAfter()
	case LSTM:
		s.lstm()
	case ElmanTanh:
		for u := range s.state {
			s.state[u] = s.input[u] + s.recurrent[u]
		}
		portable.TanhAll(s.state)
	case ElmanReLU:
		for u := range s.state {
			s.state[u] = max(0, s.input[u]+s.recurrent[u])
		}
	}
}

func (s *layerRun) gruResetAfter() {
	units := len(s.state)
	reset, update, candidate := s.gates[0], s.gates[1], s.gates[2]
	for i := range s.all[:2*units] {
		s.all[i] = s.input[i] + s.recurrent[i]
	}
	portable.LogisticAll(s.all[:2*units])
	for u, r := range reset {
		candidate[u] = s.input[2*units+u] + float64(r*s.recurrent[2*units+u])
	}
	portable.TanhAll(candidate)
	s.blend(update, candidate)
}

// blend moves the state of a GRU to the candidate.
func (s *layerRun) blend(update, candidate []float64) {
	for u, h := range s.state {
		z := update[u]
		s.state[u] = float64((1-z)*candidate[u]) + float64(z*h)
	}
}

// gruResetBefore computes all reset gates first, because the candidate's rows of U multiply the
// state after the reset.
func (s *layerRun) gruResetBefore(l *Recurrent) {
	units := len(s.state)
	reset, update, candidate := s.gates[0], s.gates[1], s.gates[2]
	portable.Affine(s.recurrent[:2*units], l.U[:2*units*units], s.state, l.D[:2*units])
	for i := range s.all[:2*units] {
		s.all[i] = s.input[i] + s.recurrent[i]
	}
	portable.LogisticAll(s.all[:2*units])
	for u, h := range s.state {
		s.kept[u] = reset[u] * h
	}
	portable.Affine(s.recurrent[2*units:], l.U[2*units*units:], s.kept, l.D[2*units:])
	for u := range candidate {
		candidate[u] = s.input[2*units+u] + s.recurrent[2*units+u]
	}
	portable.TanhAll(candidate)
	s.blend(update, candidate)
}

func (s *layerRun) lstm() {
	units := len(s.state)
	input, forget, candidate, output := s.gates[0], s.gates[1], s.gates[2], s.gates[3]
	for i := range s.all {
		s.all[i] = s.input[i] + s.recurrent[i]
	}
	portable.LogisticAll(s.all[:2*units])
	portable.TanhAll(candidate)
	portable.LogisticAll(output)
	for u, c := range s.cell {
		c = float64(forget[u]*c) + float64(input[u]*candidate[u])
		s.cell[u], s.state[u] = c, c
	}
	portable.TanhAll(s.state)
	for u, open := range output {
		s.state[u] *= open
	}
}
