package model

import (
	"fmt"

	"kerf/portable"
)

// Run is the state of a network in one sequence, with the memory that a step needs, so that Step
// allocates nothing. It reads the network's weights at every step, so it sees later changes of
// their values. Many runs may share one network; one Run serves one goroutine.
type Run struct {
	network *Network
	layers  []layerRun  // one per recurrent layer
	dense   [][]float64 // results of every dense layer [Outputs]
}

// NewRun returns a run with zero state. The network must be valid, see [Network.Validate].
func (n *Network) NewRun() *Run {
	r := &Run{network: n}
	for _, l := range n.Recurrent {
		r.layers = append(r.layers, newLayerRun(l))
	}
	for _, d := range n.Dense {
		r.dense = append(r.dense, make([]float64, d.Outputs))
	}
	return r
}

// Reset sets hidden and cell states to zero, as at the start of a sequence. The gates and dense
// results of the last step stay, except that the only gate of an Elman layer is its state.
func (r *Run) Reset() {
	for i := range r.layers {
		clear(r.layers[i].state)
		clear(r.layers[i].cell)
	}
}

// State returns the hidden state [Units] of a recurrent layer. The slice is live: Step changes it,
// and the caller may set it before the first step of a sequence.
func (r *Run) State(layer int) []float64 { return r.layers[layer].state }

// Cell returns the cell state [Units] of an LSTM layer, live like [Run.State], and nil for other
// kinds.
func (r *Run) Cell(layer int) []float64 { return r.layers[layer].cell }

// Gate returns the values [Units] that the last step computed for one gate of a recurrent layer,
// after the gate's activation. Gates are counted in the order of the blocks in [Recurrent]; the
// only gate of an Elman layer is its state. The slice is live, and zero before the first step.
//
// The update gate of a GRU is the share of the old state that is kept.
func (r *Run) Gate(layer, gate int) []float64 { return r.layers[layer].gates[gate] }

// InputPart returns W x + B [Gates*Units] of a recurrent layer in the last step, in the order of
// the blocks in [Recurrent]. The slice is live, and zero before the first step.
func (r *Run) InputPart(layer int) []float64 { return r.layers[layer].input }

// RecurrentPart returns U h + D [Gates*Units], like [Run.InputPart]. The candidate of a
// reset-before GRU has U (r * h) + D.
func (r *Run) RecurrentPart(layer int) []float64 { return r.layers[layer].recurrent }

// Dense returns the results [Outputs] of a dense layer in the last step, after its activation. The
// slice is live, and zero before the first step.
func (r *Run) Dense(layer int) []float64 { return r.dense[layer] }

// Step advances the sequence by one time step: it reads the normalised features x [Inputs] and
// writes the raw outputs y [Outputs]. It panics if a length is wrong.
//
// The same step gives the same bits on every processor (package portable).
func (r *Run) Step(x, y []float64) { r.StepWith(x, y, nil) }

// StepWith does what [Run.Step] does, and after each recurrent layer calls hold with the state
// [Units] that the layer has just computed. hold may change the state; the next layer and the next
// step read the changed values. hold may be nil.
func (r *Run) StepWith(x, y []float64, hold func(layer int, state []float64)) {
	n := r.network
	if len(x) != n.Inputs() || len(y) != n.Outputs() {
		panic(fmt.Sprintf("model: step got %d features and %d outputs, expected %d and %d", len(x),
			len(y), n.Inputs(), n.Outputs()))
	}
	for i, l := range n.Recurrent {
		r.layers[i].step(l, x)
		if hold != nil {
			hold(i, r.layers[i].state)
		}
		x = r.layers[i].state
	}
	r.Finish(x, y)
}

// Finish computes the raw outputs y [Outputs] that the dense layers give for a state [Units] of the
// last recurrent layer, which is the last part of [Run.Step].
func (r *Run) Finish(state, y []float64) {
	x := state
	for i, d := range r.network.Dense {
		portable.Affine(r.dense[i], d.W, x, d.B)
		d.Activation.apply(r.dense[i])
		x = r.dense[i]
	}
	copy(y, x)
}
