package model

import "math/rand/v2"

var everyKind = []Kind{GRUResetAfter, GRUResetBefore, LSTM, ElmanTanh, ElmanReLU}

// layerSize is the kind and the number of units of a recurrent layer.
type layerSize struct {
	kind  Kind
	units int
}

// denseSize is the activation and the number of outputs of a dense layer.
type denseSize struct {
	activation Activation
	outputs    int
}

func randomNetwork(seed uint64, inputs int, layers []layerSize, dense []denseSize) *Network {
	random := rand.New(rand.NewPCG(seed, seed))
	n := &Network{}
	width := inputs
	for _, l := range layers {
		rows := l.kind.Gates() * l.units
		n.Recurrent = append(n.Recurrent, &Recurrent{Kind: l.kind, Inputs: width, Units: l.units,
			W: normal(random, rows*width), U: normal(random, rows*l.units), B: normal(random, rows),
			D: normal(random, rows)})
		width = l.units
	}
	for _, d := range dense {
		n.Dense = append(n.Dense,
			&Dense{Inputs: width, Outputs: d.outputs, Activation: d.activation,
				W: normal(random, d.outputs*width), B: normal(random, d.outputs)})
		width = d.outputs
	}
	return n
}

// normal draws values of standard deviation 1/5, so that an Elman layer with ReLU of the sizes used
// here does not grow without bound.
func normal(random *rand.Rand, size int) []float64 {
	values := make([]float64, size)
	for i := range values {
		values[i] = random.NormFloat64() / 5
	}
	return values
}
