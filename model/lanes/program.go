package lanes

import "kerf/model"

// Program is a network in the layout of the kernels. It never changes, and many states may share
// it.
type Program struct {
	layers          []layer
	dense           []dense
	inputs, outputs int
}

// layer is one recurrent layer. In memory the state follows the input, so that one product covers
// both. In a reset-before GRU the order is state, input, state times reset gate, so that the gates
// multiply the first two and the candidate the last two.
type layer struct {
	kind          model.Kind
	inputs, units int
	gates         matrix // multiplies input and state; b is the sum of both biases
	// of a GRU: multiplies the input in a reset-after GRU, input and state times reset gate in a
	// reset-before GRU
	candidate matrix
	recurrent matrix // of a reset-after GRU: multiplies the state
}

// dense is one dense layer.
type dense struct {
	matrix
	outputs    int
	activation model.Activation
}

// Compile lays out a network that is valid, see [model.Network.Validate]. Recurrent layers may also
// have no units, as in candidates that lost all of them; the layer above then computes with its own
// biases alone. The weights are copied and rounded to float32.
func Compile(n *model.Network) *Program {
	p := &Program{inputs: n.Inputs(), outputs: n.Outputs()}
	for _, l := range n.Recurrent {
		p.layers = append(p.layers, newLayer(l.Kind, l.Inputs, l.Units))
	}
	for _, d := range n.Dense {
		p.dense = append(p.dense, dense{matrix: newMatrix(d.Outputs, d.Inputs), outputs: d.Outputs,
			activation: d.Activation})
	}
	p.load(n)
	return p
}

// load copies the weights of a network of the same shape.
func (p *Program) load(n *model.Network) {
	for i, l := range n.Recurrent {
		p.layers[i].load(l)
	}
	for i, d := range n.Dense {
		p.dense[i].set(func(r, c int) float64 { return d.W[r*d.Inputs+c] })
		p.dense[i].setBias(func(r int) float64 { return d.B[r] })
	}
}

// newLayer makes room for the matrices of a kind.
func newLayer(kind model.Kind, inputs, units int) layer {
	c := layer{kind: kind, inputs: inputs, units: units}
	switch kind {
	case model.GRUResetAfter:
		c.gates = newMatrix(2*units, inputs+units)
		c.candidate, c.recurrent = newMatrix(units, inputs), newMatrix(units, units)
	case model.GRUResetBefore:
		c.gates = newMatrix(2*units, inputs+units)
		c.candidate = newMatrix(units, inputs+units)
	default:
		c.gates = newMatrix(kind.Gates()*units, inputs+units)
	}
	return c
}

// load lays out the weights of a recurrent layer in the matrices of its kind.
func (c *layer) load(l *model.Recurrent) {
	input := func(row, column int) float64 { return l.W[row*l.Inputs+column] }
	state := func(row, column int) float64 { return l.U[row*l.Units+column] }
	bias := func(row int) float64 { return l.B[row] + l.D[row] }
	both := func(row, column int) float64 {
		if column < l.Inputs {
			return input(row, column)
		}
		return state(row, column-l.Inputs)
	}
	n := 2 * l.Units // the first row of the candidate of a GRU
	c.gates.setBias(bias)
	switch l.Kind {
	case model.GRUResetAfter:
		c.gates.set(both)
		c.candidate.set(func(r, k int) float64 { return input(n+r, k) })
		c.candidate.setBias(func(r int) float64 { return l.B[n+r] })
		c.recurrent.set(func(r, k int) float64 { return state(n+r, k) })
		c.recurrent.setBias(func(r int) float64 { return l.D[n+r] })
	case model.GRUResetBefore:
		c.gates.set(func(row, column int) float64 {
			if column < l.Units {
				return state(row, column)
			}
			return input(row, column-l.Units)
		})
		c.candidate.set(func(r, k int) float64 { return both(n+r, k) })
		c.candidate.setBias(func(r int) float64 { return bias(n + r) })
	default:
		c.gates.set(both)
	}
}
