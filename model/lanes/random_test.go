package lanes

import (
	"math"
	"math/rand/v2"

	"kerf/model"
)

var everyKind = []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM, model.ElmanTanh,
	model.ElmanReLU}

// randomNetwork returns a stack of layers of the given kinds and two dense layers. Its weights keep
// the state of an Elman (ReLU) layer bounded.
func randomNetwork(seed uint64, inputs, units, outputs int, kinds ...model.Kind) *model.Network {
	random := rand.New(rand.NewPCG(seed, 1))
	normal := func(n int, scale float64) []float64 {
		all := make([]float64, n)
		for i := range all {
			all[i] = scale * random.NormFloat64()
		}
		return all
	}
	n := &model.Network{}
	width := inputs
	for _, kind := range kinds {
		rows := kind.Gates() * units
		n.Recurrent = append(n.Recurrent, &model.Recurrent{
			Kind: kind, Inputs: width, Units: units,
			W: normal(rows*width, 1/math.Sqrt(float64(width))),
			U: normal(rows*units, 0.5/math.Sqrt(float64(units))),
			B: normal(rows, 0.5), D: normal(rows, 0.5),
		})
		width = units
	}
	n.Dense = []*model.Dense{
		{Inputs: units, Outputs: 5, W: normal(5*units, 0.5), B: normal(5, 0.5),
			Activation: model.ReLU},
		{Inputs: 5, Outputs: outputs, W: normal(outputs*5, 0.5), B: normal(outputs, 0.5)},
	}
	return n
}
