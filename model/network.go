package model

import (
	"fmt"
	"slices"
	"strings"
)

// Recurrent is one recurrent layer. Its gate blocks stand one below the other in the order of
// torch: reset, update and candidate (r z n) in a GRU, and input, forget, candidate and output (i f
// g o) in an LSTM.
type Recurrent struct {
	Kind          Kind
	Inputs, Units int
	W             []float64 // input weights [Gates*Units × Inputs]
	U             []float64 // recurrent weights [Gates*Units × Units]
	B             []float64 // input bias [Gates*Units]
	// D is the recurrent bias [Gates*Units]. In a reset-after GRU the reset gate multiplies its
	// candidate block too, so it cannot be added to B.
	D []float64
}

// Dense is one dense layer, y = Activation(W x + B).
type Dense struct {
	Inputs, Outputs int
	W               []float64 // [Outputs × Inputs]
	B               []float64 // [Outputs]
	Activation      Activation
}

// Network is a chain of layers: 1 to 3 recurrent layers of any mix of kinds, first to last, then 1
// or more dense layers. All of them are applied at every step.
type Network struct {
	Recurrent []*Recurrent
	Dense     []*Dense
}

// maxRecurrent is the most recurrent layers of a network: deeper stacks are too large for
// microcontrollers (common practice, no source).
const maxRecurrent = 3

// Inputs returns the number of features that enter the network at one step.
func (n *Network) Inputs() int { return n.Recurrent[0].Inputs }

// Outputs returns the number of values that leave the network at one step.
func (n *Network) Outputs() int { return n.Dense[len(n.Dense)-1].Outputs }

// Parameters returns the number of all weights and biases. Both biases of a gate count, although
// most kinds could do with their sum.
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

// String returns the layers in one line, such as "LSTM 19→24, dense 24→6 ReLU, dense 6→2".
func (n *Network) String() string {
	var layers []string
	for _, l := range n.Recurrent {
		layers = append(layers, fmt.Sprintf("%v %d→%d", l.Kind, l.Inputs, l.Units))
	}
	for _, l := range n.Dense {
		text := fmt.Sprintf("dense %d→%d", l.Inputs, l.Outputs)
		if l.Activation != Identity {
			text += " " + l.Activation.String()
		}
		layers = append(layers, text)
	}
	return strings.Join(layers, ", ")
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
			W: slices.Clone(l.W), B: slices.Clone(l.B), Activation: l.Activation,
		})
	}
	return c
}
