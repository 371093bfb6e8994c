package model

import "fmt"

// Gradient holds the derivatives of a loss by the weights, inputs and start states of a network.
type Gradient struct {
	// Weights has the derivatives by every weight and bias, in the fields of a network of the same
	// shape. [Tape.Backward] adds to them.
	Weights *Network
	// Inputs has the derivatives by the inputs of the last segment [steps × Inputs]. The caller
	// allocates it, or leaves it nil where it is not wanted.
	Inputs []float64
	// States has the derivatives by the state at the start of the last segment, [layers][Units].
	States [][]float64
	// Cells has the derivatives by the cell state there, [layers][Units]; nil for layers without a
	// cell.
	Cells [][]float64
}

// NewGradient returns a gradient of zeros for networks of n's shape, without Inputs.
func (n *Network) NewGradient() *Gradient {
	g := &Gradient{Weights: n.Clone()}
	g.Zero()
	for _, l := range n.Recurrent {
		g.States = append(g.States, make([]float64, l.Units))
		var cell []float64
		if l.Kind.HasCell() {
			cell = make([]float64, l.Units)
		}
		g.Cells = append(g.Cells, cell)
	}
	return g
}

// Zero sets the derivatives by weights and biases to zero.
func (g *Gradient) Zero() {
	for _, values := range g.Weights.Values() {
		clear(values)
	}
}

// Add adds the derivatives by weights and biases of another gradient.
func (g *Gradient) Add(o *Gradient) {
	to := g.Weights.Values()
	for i, from := range o.Weights.Values() {
		for j, v := range from {
			to[i][j] += v
		}
	}
}

// Values lists the weights and biases, always in the same order: of every recurrent layer W, U, B
// and D, then of every dense layer W and B. The slices are live: a change in them changes the
// network.
func (n *Network) Values() [][]float64 {
	var all [][]float64
	for _, l := range n.Recurrent {
		all = append(all, l.W, l.U, l.B, l.D)
	}
	for _, l := range n.Dense {
		all = append(all, l.W, l.B)
	}
	return all
}

// Override may change the state [Units] that a recurrent layer has just computed in a step of a
// segment, and of an LSTM its cell state [Units], else nil. The layer above and the next step read
// the changed values.
type Override func(step, layer int, state, cell []float64)

// Tape records the computation of a network over a segment of a sequence, so that the derivatives
// of a loss can be carried back through it (back-propagation through time). The state goes on from
// one segment to the next, derivatives do not: with segments that are shorter than the sequence,
// back-propagation is truncated at their starts. One Tape serves one goroutine.
type Tape struct {
	network *Network
	run     *Run
	steps   int         // of the last segment
	x       []float64   // its inputs [steps × Inputs]
	layers  []layerTape // per recurrent layer
	dense   [][]float64 // per dense layer: its results [steps × Outputs]

	denseChange [][]float64 // per dense layer: derivatives by its inputs at one step [Inputs]
}

// NewTape returns a tape for segments of at most the given number of steps, with zero state. The
// tape reads the network's weights at every step, so it sees later changes of their values.
func (n *Network) NewTape(steps int) *Tape {
	t := &Tape{network: n, run: n.NewRun()}
	for _, l := range n.Recurrent {
		t.layers = append(t.layers, newLayerTape(l, steps))
	}
	for _, d := range n.Dense {
		t.dense = append(t.dense, make([]float64, steps*d.Outputs))
		t.denseChange = append(t.denseChange, make([]float64, d.Inputs))
	}
	return t
}

// Run returns the run whose state goes from segment to segment. The caller may reset or set the
// state between segments.
func (t *Tape) Run() *Run { return t.run }

// Forward runs a segment: x holds the normalised features [steps × Inputs] and must stay unchanged
// until [Tape.Backward]. override may be nil. Forward returns the raw outputs [steps × Outputs],
// which the next segment overwrites. It panics if x does not fit the network, or is longer than the
// tape.
func (t *Tape) Forward(x []float64, override Override) []float64 {
	n := t.network
	inputs, outputs := n.Inputs(), n.Outputs()
	t.steps, t.x = len(x)/inputs, x
	if t.steps*inputs != len(x) || t.steps*outputs > len(t.dense[len(t.dense)-1]) {
		panic(fmt.Sprintf("model: a segment of %d values for %d inputs and a tape of %d steps",
			len(x), inputs, len(t.dense[len(t.dense)-1])/outputs))
	}
	for i := range t.layers {
		t.layers[i].begin(&t.run.layers[i])
	}
	for step := range t.steps {
		v := x[step*inputs : (step+1)*inputs]
		for i, l := range n.Recurrent {
			run := &t.run.layers[i]
			run.step(l, v)
			if override != nil {
				override(step, i, run.state, run.cell)
			}
			t.layers[i].record(step, l, run)
			v = run.state
		}
		for i, d := range n.Dense {
			y := t.dense[i][step*d.Outputs : (step+1)*d.Outputs]
			affine(y, d.W, v, d.B)
			d.Activation.apply(y)
			v = y
		}
	}
	return t.dense[len(t.dense)-1][:t.steps*outputs]
}

// Backward carries the derivatives of a loss by the outputs of the last segment, change [steps ×
// Outputs], back through the segment. It adds to g.Weights, and sets g.States, g.Cells and, unless
// it is nil, g.Inputs.
func (t *Tape) Backward(change []float64, g *Gradient) {
	n := t.network
	t.denseBackward(change, g)
	for i := len(n.Recurrent) - 1; i >= 0; i-- {
		l, tape := n.Recurrent[i], &t.layers[i]
		tape.backward(l, g.Weights.Recurrent[i], t.steps, g.States[i], g.Cells[i])
		below, x := g.Inputs, t.x
		if i > 0 {
			below, x = t.layers[i-1].change, t.layers[i-1].state[l.Inputs:]
		}
		tape.addInputWeights(l, g.Weights.Recurrent[i], t.steps, x)
		if below != nil {
			tape.inputChange(l, t.steps, below)
		}
	}
}

// denseBackward carries the derivatives through the dense layers, and leaves those by the states of
// the last recurrent layer on that layer's tape.
func (t *Tape) denseBackward(change []float64, g *Gradient) {
	n := t.network
	last := &t.layers[len(t.layers)-1]
	units := n.Dense[0].Inputs
	for step := range t.steps {
		outputs := n.Outputs()
		above := change[step*outputs : (step+1)*outputs]
		for i := len(n.Dense) - 1; i >= 0; i-- {
			d, to := n.Dense[i], g.Weights.Dense[i]
			x := last.state[(step+1)*units : (step+2)*units]
			if i > 0 {
				x = t.dense[i-1][step*d.Inputs : (step+1)*d.Inputs]
			}
			below := t.denseChange[i]
			clear(below)
			for o, y := range t.dense[i][step*d.Outputs : (step+1)*d.Outputs] {
				v := float64(above[o] * d.Activation.slope(y))
				to.B[o] += v
				addScaled(to.W[o*d.Inputs:(o+1)*d.Inputs], v, x)
				addScaled(below, v, d.W[o*d.Inputs:(o+1)*d.Inputs])
			}
			above = below
		}
		copy(last.change[step*units:], above)
	}
}

// slope returns the derivative of an activation where its result is y. Our choice: that of ReLU at
// 0 is 0.
func (a Activation) slope(y float64) float64 {
	switch a {
	case ReLU:
		if y > 0 {
			return 1
		}
		return 0
	case Tanh:
		return 1 - float64(y*y)
	case Logistic:
		return y * (1 - y)
	}
	return 1
}

// addScaled adds factor·v to sum, in separate operations for the reason given at [affine].
func addScaled(sum []float64, factor float64, v []float64) {
	sum = sum[:len(v)]
	for i, x := range v {
		sum[i] += float64(factor * x)
	}
}

// addScaled4 gives the same bits as four calls of [addScaled] in the order of the arguments, but
// loads and stores sum once.
func addScaled4(sum []float64, f0, f1, f2, f3 float64, v0, v1, v2, v3 []float64) {
	n := len(sum)
	v0, v1, v2, v3 = v0[:n], v1[:n], v2[:n], v3[:n]
	for i, s := range sum {
		s += float64(f0 * v0[i])
		s += float64(f1 * v1[i])
		s += float64(f2 * v2[i])
		sum[i] = s + float64(f3*v3[i])
	}
}

// addRows adds the rows of a matrix w [len(factors) × len(sum)], each scaled by its factor, to sum.
func addRows(sum, factors, w []float64) {
	n := len(sum)
	for ; len(factors) >= 4; factors, w = factors[4:], w[4*n:] {
		addScaled4(sum, factors[0], factors[1], factors[2], factors[3], w, w[n:], w[2*n:], w[3*n:])
	}
	for ; len(factors) > 0; factors, w = factors[1:], w[n:] {
		addScaled(sum, factors[0], w[:n])
	}
}
