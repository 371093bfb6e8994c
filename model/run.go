package model

import (
	"fmt"
	"math"
)

// Run is the state of one sequence together with the scratch memory of a step, so that Step allocates nothing. It reads the
// network's weights at every step and so sees later changes of their values. Many runs may share one network; one Run serves one
// goroutine.
type Run struct {
	network *Network
	layers  []layerRun
	hidden  [][]float64 // results of all dense layers but the last
}

// layerRun belongs to one recurrent layer.
type layerRun struct {
	input, recurrent         []float64 // W x + B and U h + D [Gates*Units]
	reset, update, candidate []float64 // [Units]
	state                    []float64 // [Units]
}

// NewRun returns a run with zero state. The network must be valid, see [Network.Validate].
func (n *Network) NewRun() *Run {
	r := &Run{network: n, layers: make([]layerRun, len(n.Recurrent))}
	for i, l := range n.Recurrent {
		r.layers[i] = layerRun{
			input:     make([]float64, l.Kind.Gates()*l.Units),
			recurrent: make([]float64, l.Kind.Gates()*l.Units),
			reset:     make([]float64, l.Units),
			update:    make([]float64, l.Units),
			candidate: make([]float64, l.Units),
			state:     make([]float64, l.Units),
		}
	}
	for _, d := range n.Dense[:len(n.Dense)-1] {
		r.hidden = append(r.hidden, make([]float64, d.Outputs))
	}
	return r
}

// Reset sets the state to zero, as at the start of a sequence. The gate values of the last step stay.
func (r *Run) Reset() {
	for i := range r.layers {
		clear(r.layers[i].state)
	}
}

// State returns the hidden state [Units] of a recurrent layer. The slice is live: Step changes it, and the caller may set it
// before the first step of a sequence.
func (r *Run) State(layer int) []float64 { return r.layers[layer].state }

// Gates returns what the last step computed in a recurrent layer: reset gate, update gate (the share of the old state that is
// kept) and candidate, each [Units]. The slices are live and zero before the first step.
func (r *Run) Gates(layer int) (reset, update, candidate []float64) {
	l := &r.layers[layer]
	return l.reset, l.update, l.candidate
}

// Step advances the sequence by one time step: x [Inputs] normalised features in, y [Outputs] raw outputs out. It panics if a
// length is wrong.
//
// On one machine a step repeats bit for bit. Between machines the last bits may differ, because math.Exp does.
func (r *Run) Step(x, y []float64) {
	n := r.network
	if len(x) != n.Inputs() || len(y) != n.Outputs() {
		panic(fmt.Sprintf("model: step got %d features and %d outputs, expected %d and %d", len(x), len(y), n.Inputs(), n.Outputs()))
	}
	for i, l := range n.Recurrent {
		r.layers[i].gruResetAfter(l, x)
		x = r.layers[i].state
	}
	last := len(n.Dense) - 1
	for i, d := range n.Dense[:last] {
		affine(r.hidden[i], d.W, x, d.B)
		x = r.hidden[i]
	}
	affine(y, n.Dense[last].W, x, n.Dense[last].B)
}

// gruResetAfter computes one step of the equations at [GRUResetAfter].
func (s *layerRun) gruResetAfter(l *Recurrent, x []float64) {
	affine(s.input, l.W, x, l.B)
	affine(s.recurrent, l.U, s.state, l.D)
	units := l.Units
	for u := range units {
		reset := logistic(s.input[u] + s.recurrent[u])
		update := logistic(s.input[units+u] + s.recurrent[units+u])
		candidate := math.Tanh(s.input[2*units+u] + float64(reset*s.recurrent[2*units+u]))
		s.reset[u], s.update[u], s.candidate[u] = reset, update, candidate
		s.state[u] = float64((1-update)*candidate) + float64(update*s.state[u])
	}
}
