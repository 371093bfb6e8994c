package model

import "slices"

// Recurrent is one recurrent layer. Gate blocks stand one below the other in the order reset, update, candidate (torch's r, z, n).
type Recurrent struct {
	Kind          Kind
	Inputs, Units int
	W             []float64 // input weights [Gates*Units × Inputs]
	U             []float64 // recurrent weights [Gates*Units × Units]
	B             []float64 // input bias [Gates*Units]
	D             []float64 // recurrent bias [Gates*Units]; its candidate block is inside the product with the reset gate
}

// Dense is one layer y = W x + B without an activation.
type Dense struct {
	Inputs, Outputs int
	W               []float64 // [Outputs × Inputs]
	B               []float64 // [Outputs]
}

// Network is a chain: the recurrent layers first to last, then the dense layers, which are applied at every step. The readers
// of this package return networks with exactly one layer of each sort.
type Network struct {
	Recurrent []*Recurrent
	Dense     []*Dense
}

// Inputs returns the number of features that enter at one step.
func (n *Network) Inputs() int { return n.Recurrent[0].Inputs }

// Outputs returns the number of values that leave at one step.
func (n *Network) Outputs() int { return n.Dense[len(n.Dense)-1].Outputs }

// Units returns the number of hidden units of the first recurrent layer, which is the only one in a network that was read from a file.
func (n *Network) Units() int { return n.Recurrent[0].Units }

// Parameters counts all weights and biases. Both biases of a gate count, although those of the reset and update gates could be merged.
func (n *Network) Parameters() int {
	total := 0
	for _, l := range n.Recurrent {
		total += len(l.W) + len(l.U) + len(l.B) + len(l.D)
	}
	for _, l := range n.Dense {
		total += len(l.W) + len(l.B)
	}
	return total
}

// Clone returns a copy that shares no memory with n.
func (n *Network) Clone() *Network {
	c := &Network{}
	for _, l := range n.Recurrent {
		c.Recurrent = append(c.Recurrent, &Recurrent{
			Kind: l.Kind, Inputs: l.Inputs, Units: l.Units,
			W: slices.Clone(l.W), U: slices.Clone(l.U), B: slices.Clone(l.B), D: slices.Clone(l.D),
		})
	}
	for _, l := range n.Dense {
		c.Dense = append(c.Dense, &Dense{
			Inputs: l.Inputs, Outputs: l.Outputs,
			W: slices.Clone(l.W), B: slices.Clone(l.B),
		})
	}
	return c
}
