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
		p.layers = append(p.layers, compileLayer(l))
	}
	for _, d := range n.Dense {
		m := newMatrix(d.Outputs, d.Inputs, func(r, c int) float64 {
			return d.W[r*d.Inputs+c]
		}, func(r int) float64 { return d.B[r] })
		p.dense = append(p.dense, dense{matrix: m, outputs: d.Outputs, activation: d.Activation})
	}
	return p
}

// compileLayer lays out the weights of a recurrent layer in the matrices of its kind.
func compileLayer(l *model.Recurrent) layer {
	c := layer{kind: l.Kind, inputs: l.Inputs, units: l.Units}
	input := func(row, column int) float64 { return l.W[row*l.Inputs+column] }
	state := func(row, column int) float64 { return l.U[row*l.Units+column] }
	bias := func(row int) float64 { return l.B[row] + l.D[row] }
	both := func(row, column int) float64 {
		if column < l.Inputs {
			return input(row, column)
		}
		return state(row, column-l.Inputs)
	}
	stateFirst := func(row, column int) float64 {
		if column < l.Units {
			return state(row, column)
		}
		return input(row, column-l.Units)
	}
	n := 2 * l.Units // the first row of the candidate of a GRU
	switch l.Kind {
	case model.GRUResetAfter:
		c.gates = newMatrix(n, l.Inputs+l.Units, both, bias)
		c.candidate = newMatrix(l.Units, l.Inputs, func(r, k int) float64 {
			return input(n+r, k)
		}, func(r int) float64 { return l.B[n+r] })
		c.recurrent = newMatrix(l.Units, l.Units, func(r, k int) float64 {
			return state(n+r, k)
		}, func(r int) float64 { return l.D[n+r] })
	case model.GRUResetBefore:
		c.gates = newMatrix(n, l.Inputs+l.Units, stateFirst, bias)
		c.candidate = newMatrix(l.Units, l.Inputs+l.Units, func(r, k int) float64 {
			return both(n+r, k)
		}, func(r int) float64 { return bias(n + r) })
	default:
		c.gates = newMatrix(l.Kind.Gates()*l.Units, l.Inputs+l.Units, both, bias)
	}
	return c
}
