package lanes

import "kerf/model"

// Ranges runs eight sequences side by side and keeps, lane by lane, the largest magnitudes of what
// a network computes, from which fixed-point formats are chosen.
type Ranges struct {
	*State
	layers []layerRanges
	dense  []denseRanges
}

// layerRanges holds largest magnitudes of each lane, and the parts of sums that [layer] adds up.
type layerRanges struct {
	parts             [2]matrix // W x + B and U h + D
	scratch           []float32
	gate, state, cell []float32 // [Width]
}

// denseRanges is the same of a dense layer.
type denseRanges struct{ sums, value []float32 }

// NewRanges returns eight sequences with zero states.
func NewRanges(n *model.Network) *Ranges {
	r := &Ranges{State: Compile(n).NewState()}
	for _, l := range n.Recurrent {
		rows := l.Kind.Gates() * l.Units
		q := layerRanges{gate: make([]float32, Width), state: make([]float32, Width),
			cell: make([]float32, Width)}
		q.parts[0], q.parts[1] = newMatrix(rows, l.Inputs), newMatrix(rows, l.Units)
		q.parts[0].set(func(r, c int) float64 { return l.W[r*l.Inputs+c] })
		q.parts[0].setBias(func(r int) float64 { return l.B[r] })
		q.parts[1].set(func(r, c int) float64 { return l.U[r*l.Units+c] })
		q.parts[1].setBias(func(r int) float64 { return l.D[r] })
		q.scratch = make([]float32, q.parts[0].padded()*Width)
		r.layers = append(r.layers, q)
	}
	for i := range r.program.dense {
		r.dense = append(r.dense, denseRanges{make([]float32, len(r.State.dense[i])),
			make([]float32, Width)})
	}
	return r
}

// Begin starts a new sequence in a lane: its states and magnitudes become 0.
func (r *Ranges) Begin(lane int) {
	r.State.Begin(lane)
	for i := range r.layers {
		l := &r.layers[i]
		l.gate[lane], l.state[lane], l.cell[lane] = 0, 0, 0
	}
	for i := range r.dense {
		r.dense[i].value[lane] = 0
	}
}

// Step advances all lanes by one time step.
func (r *Ranges) Step() {
	for i := range r.layers {
		r.part(i, 1, r.State.layers[i].state) // before the step
	}
	r.State.Step()
	for i := range r.layers {
		s := &r.State.layers[i]
		r.part(i, 0, s.input)
		largest(r.layers[i].state, s.state)
		largest(r.layers[i].cell, s.cell)
	}
	x := r.State.layers[len(r.layers)-1].state
	for i := range r.dense {
		m := &r.program.dense[i].matrix
		m.apply(r.dense[i].sums, x)
		largest(r.dense[i].value, r.dense[i].sums[:m.rows*Width])
		x = r.State.dense[i]
	}
}

// part takes the magnitudes of a part of the sums of a layer.
func (r *Ranges) part(layer, part int, x []float32) {
	l := &r.layers[layer]
	m := &l.parts[part]
	m.apply(l.scratch, x)
	largest(l.gate, l.scratch[:m.rows*Width])
}

// Layer returns the largest magnitudes of a lane of a recurrent layer since its sequence began: of
// the parts W x + B and U h + D of sums, of the hidden state, and of the cell of an LSTM.
func (r *Ranges) Layer(layer, lane int) (gate, state, cell float64) {
	l := &r.layers[layer]
	return float64(l.gate[lane]), float64(l.state[lane]), float64(l.cell[lane])
}

// Dense returns the largest magnitude before the activation of a dense layer.
func (r *Ranges) Dense(layer, lane int) float64 { return float64(r.dense[layer].value[lane]) }
