package model

import "fmt"

// Run is the state of one sequence together with the scratch memory of a step, so that Step
// allocates nothing. It reads the network's weights at every step and so sees later changes of
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

// Reset sets hidden and cell states to zero, as at the start of a sequence. The other values of the
// last step stay, except that the only gate of an Elman layer is its state.
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

// Gate returns what the last step computed for one gate of a recurrent layer, after its activation
// [Units]. Gates are counted in the order of the blocks in [Recurrent]; the only gate of an Elman
// layer is its state. The slice is live and zero before the first step.
//
// The update gate of a GRU is the share of the old state that is kept.
func (r *Run) Gate(layer, gate int) []float64 { return r.layers[layer].gates[gate] }

// Dense returns what the last step computed in a dense layer, after its activation [Outputs]. The
// slice is live and zero before the first step.
func (r *Run) Dense(layer int) []float64 { return r.dense[layer] }

// Step advances the sequence by one time step: x [Inputs] normalised features in, y [Outputs] raw
// outputs out. It panics if a length is wrong.
//
// A step repeats bit for bit, on every processor (package portable).
func (r *Run) Step(x, y []float64) { r.StepWith(x, y, nil) }

// StepWith is [Run.Step] with a hand in it: after each recurrent layer it calls hold with the state
// that the layer has just computed [Units]. What hold writes there is what the next layer and the
// next step read. A nil hold does nothing.
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

// Finish computes the raw outputs y [Outputs] that the dense layers make of a state [Units] of the
// last recurrent layer: what [Run.Step] does last.
func (r *Run) Finish(state, y []float64) {
	x := state
	for i, d := range r.network.Dense {
		affine(r.dense[i], d.W, x, d.B)
		d.Activation.apply(r.dense[i])
		x = r.dense[i]
	}
	copy(y, x)
}
