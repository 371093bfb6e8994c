package lanes

import "kerf/model"

// Tape records eight sequences side by side over a segment, so that the derivatives of a loss can
// be carried back through it (back-propagation through time). States go on from one segment to the
// next, derivatives do not: with segments that are shorter than the sequences, back-propagation is
// truncated at their starts. One Tape serves one goroutine.
//
// Every lane has its own sequence, and may begin another one before any segment ([Tape.Begin]). A
// sequence that ends within a segment has a change of 0 from there on ([Tape.Change]), and any
// finite inputs: then nothing flows back from the steps behind its end.
//
// # Scores of features and units
//
// One pass forward and back scores all features and all units of a network. Imagine that a feature,
// or the state of a unit, is multiplied by m at every step, with m = 1. The derivative of the loss
// by m is the sum over steps of the value times the derivative of the loss by it (the "relevance"
// of Mozer and Smolensky 1989, Skeletonization, equation 6): of [Tape.Input] times
// [Tape.InputChange] for a feature, of [Tape.Hidden] times [Tape.HiddenChange] for a unit. Lanes
// are sequences, so the sum of a lane is that of a sequence, and their squares show how far
// sequences agree. To replace an item by its mean, take the value less the mean.
type Tape struct {
	program *Program
	layers  []layerTape
	dense   []denseTape
	steps   int  // of the last segment
	grid    Grid // of the inputs
	ones    []float32
	sums    []float32 // scratch: derivatives by the weights of a matrix
}

// layerTape holds what one recurrent layer computed over a segment, and the derivatives on the way
// back. All memory of a step lies at one distance from that of the next.
type layerTape struct {
	states      []layerState // before the segment, then after every step
	distance    int          // between states
	state, cell Grid

	changes        []layerChange // of every step
	changeDistance int
	after, cells   []float32 // derivatives by the states and cells after a step, from later ones
	product        []float32 // scratch [padded units]
	// transposed weights: below gives the derivatives by the inputs, back those by the state, kept
	// those by state times reset gate of a reset-before GRU
	below, back, kept matrix
}

// layerChange has the derivatives by what a recurrent layer computed in a step.
type layerChange struct {
	// sums before the activation of the gates: candidate, reset, update, and of a reset-after GRU U
	// h + D of the candidate; in other layers the gates in the order of [model.Recurrent]
	sums   []float32
	hidden []float32 // by the state after the step, through all that follows it [padded units]
	input  []float32 // by the inputs [padded inputs]
}

// denseTape is the same of one dense layer.
type denseTape struct {
	y        []float32 // results [steps × padded outputs]
	change   []float32 // derivatives by the results, then by the sums, like y
	distance int
	grid     Grid
	below    matrix // transposed weights
}

// NewTape returns a tape for segments of at most the given number of steps, with zero states. The
// weights are copied, as by [Compile].
func NewTape(n *model.Network, steps int) *Tape {
	t := &Tape{program: Compile(n), ones: make([]float32, Width)}
	for i := range t.ones {
		t.ones[i] = 1
	}
	for i := range t.program.layers {
		t.layers = append(t.layers, newLayerTape(&t.program.layers[i], steps))
	}
	for i := range t.program.dense {
		d := &t.program.dense[i]
		size := d.padded() * Width
		t.dense = append(t.dense, denseTape{y: make([]float32, steps*size),
			change: make([]float32, steps*size), distance: size,
			below: newMatrix(d.columns, d.rows)})
	}
	for _, values := range n.Values() {
		t.sums = append(t.sums, make([]float32, max(0, len(values)-len(t.sums)))...)
	}
	t.transpose(n)
	return t
}

func newLayerTape(l *layer, steps int) layerTape {
	t := layerTape{below: newMatrix(l.inputs, l.kind.Gates()*l.units)}
	switch l.kind {
	case model.GRUResetBefore:
		t.back, t.kept = newMatrix(l.units, 2*l.units), newMatrix(l.units, l.units)
	default:
		t.back = newMatrix(l.units, l.kind.Gates()*l.units)
	}
	padded := t.back.padded() * Width
	t.after, t.cells, t.product = make([]float32, padded), make([]float32, padded),
		make([]float32, padded)
	t.states, t.distance = apart(steps+1, func(room func(n int) []float32) layerState {
		return newLayerState(l, room)
	})
	rows := l.kind.Gates() * l.units
	if l.kind == model.GRUResetAfter {
		rows += l.units
	}
	t.changes, t.changeDistance = apart(steps, func(room func(n int) []float32) layerChange {
		return layerChange{room(rows * Width), room(padded), room(t.below.padded() * Width)}
	})
	return t
}

// apart makes n values whose memory lies at one distance. Every slice of the first value can be
// resliced to reach that of the others.
func apart[T any](n int, value func(room func(n int) []float32) T) (all []T, distance int) {
	value(func(n int) []float32 {
		distance += n
		return make([]float32, n)
	})
	memory, at := make([]float32, n*distance), 0
	for range n {
		all = append(all, value(func(n int) []float32 {
			at += n
			return memory[at-n : at]
		}))
	}
	return all, distance
}

// Load copies the weights of another network of the same shape.
func (t *Tape) Load(n *model.Network) {
	t.program.load(n)
	t.transpose(n)
}

// transpose lays out the transposed weights.
func (t *Tape) transpose(n *model.Network) {
	for i, l := range n.Recurrent {
		to := &t.layers[i]
		state := func(r, c int) float64 { return l.U[c*l.Units+r] }
		to.back.set(state)
		switch l.Kind {
		case model.GRUResetAfter, model.GRUResetBefore:
			candidate := 2 * l.Units // in layerChange it stands first
			to.below.set(func(r, c int) float64 {
				if c < l.Units {
					return l.W[(candidate+c)*l.Inputs+r]
				}
				return l.W[(c-l.Units)*l.Inputs+r]
			})
			to.kept.set(func(r, c int) float64 { return state(r, candidate+c) })
		default:
			to.below.set(func(r, c int) float64 { return l.W[c*l.Inputs+r] })
		}
	}
	for i, d := range n.Dense {
		t.dense[i].below.set(func(r, c int) float64 { return d.W[c*d.Inputs+r] })
	}
}

// RoundInputs makes the tape round the inputs to a grid. Derivatives go straight through the
// rounding, here as in [Tape.RoundState] and [Tape.RoundDense].
func (t *Tape) RoundInputs(g Grid) { t.grid = g }

// RoundState makes the tape round the states of a recurrent layer, and the cells of an LSTM.
func (t *Tape) RoundState(layer int, state, cell Grid) {
	t.layers[layer].state, t.layers[layer].cell = state, cell
}

// RoundDense makes the tape round the results of a dense layer.
func (t *Tape) RoundDense(layer int, g Grid) { t.dense[layer].grid = g }

// Begin starts a new sequence in a lane of the next segment: its states become 0.
func (t *Tape) Begin(lane int) {
	for i := range t.layers {
		t.layers[i].states[t.steps].begin(lane)
	}
}

// Input returns the memory for the normalised features of a step [Inputs × Width]. The caller
// writes to it before [Tape.Forward], which rounds them to the grid, if there is one.
func (t *Tape) Input(step int) []float32 { return t.layers[0].states[step+1].input }

// Forward runs a segment of some steps.
func (t *Tape) Forward(steps int) {
	for i := range t.layers {
		l := &t.layers[i]
		copy(l.states[0].state, l.states[t.steps].state)
		copy(l.states[0].cell, l.states[t.steps].cell)
	}
	t.steps = steps
	for step := range steps {
		t.grid.round(t.Input(step))
		var x []float32
		for i := range t.layers {
			l := &t.layers[i]
			before, s := &l.states[step], &l.states[step+1]
			if i > 0 {
				copy(s.input, x)
			}
			copy(s.state, before.state)
			copy(s.cell, before.cell)
			s.step(&t.program.layers[i], l.cell)
			l.state.round(s.state)
			x = s.state
		}
		for i := range t.dense {
			d, to := &t.program.dense[i], &t.dense[i]
			y := to.y[step*to.distance : (step+1)*to.distance]
			d.apply(y, x)
			activate(d.activation, y)
			to.grid.round(y)
			x = y
		}
	}
}

// Output returns the raw outputs of a step [Outputs × Width].
func (t *Tape) Output(step int) []float32 { return t.last().of(t.last().y, step, t.program) }

// Change returns the memory for the derivatives of the loss by the raw outputs of a step [Outputs ×
// Width]. The caller writes to it before [Tape.Backward], which uses it up.
func (t *Tape) Change(step int) []float32 { return t.last().of(t.last().change, step, t.program) }

func (t *Tape) last() *denseTape { return &t.dense[len(t.dense)-1] }

func (d *denseTape) of(v []float32, step int, p *Program) []float32 {
	return v[step*d.distance:][:p.outputs*Width]
}

// Hidden returns the state of a recurrent layer after a step [Units × Width].
func (t *Tape) Hidden(layer, step int) []float32 { return t.layers[layer].states[step+1].state }

// HiddenChange returns the derivatives of the loss by the state of a recurrent layer after a step
// [Units × Width], through all that follows it in the segment. [Tape.Backward] sets them.
func (t *Tape) HiddenChange(layer, step int) []float32 {
	return t.layers[layer].changes[step].hidden[:t.program.layers[layer].units*Width]
}

// InputChange returns the derivatives of the loss by the inputs of a step [Inputs × Width].
// [Tape.Backward] sets them where it is asked to.
func (t *Tape) InputChange(step int) []float32 {
	return t.layers[0].changes[step].input[:t.program.inputs*Width]
}
