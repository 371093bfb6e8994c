package slow

import (
	"math"
	"math/rand/v2"

	"kerf/model"
)

// TimeConstants are the steps over which the units forget 63 % when their gates get neither input
// nor state: their update gate then keeps the share 1 - 1/T of the state.
var TimeConstants = [...]float64{10, 10, 30, 30, 100, 100, 300, 300, 600, 600, 1000, 1000}

// Standard deviations of the weights, our choice. Inputs have a standard deviation near 1 and
// states near 0.4. With these weights the argument of an update gate swings by about ±0.6 and a
// time constant by a factor of two either way, and the state adds about as much to a candidate
// state as the inputs do. So no unit is a leaky integrator by itself.
const (
	gateFromInput      = 0.2
	gateFromState      = 0.3
	resetFromInput     = 0.5
	resetFromState     = 0.5
	candidateFromInput = 0.35
	candidateFromState = 0.45
)

// quantity is one output: physical = raw·std + mean. noise is the standard deviation of the error
// of the laboratory's reading, about 3 % of the standard deviation of the output.
type quantity struct {
	name, unit       string
	mean, std, noise float64
}

var quantities = [...]quantity{
	{"oxidation", "mg/g", 1.2, 0.16, 0.012},
	{"water", "mg/kg", 260, 50, 2.7},
}

// network returns the float network: a GRU (reset-after) of one unit per time constant with a
// linear layer behind it. Weights are float32.
func network(seed uint64) *model.Network {
	random := rand.New(rand.NewPCG(seed, 0))
	inputs, units, outputs := len(sensors), len(TimeConstants), len(quantities)
	normal := func(count int, deviation float64) []float64 {
		v := make([]float64, count)
		for i := range v {
			v[i] = single(deviation * random.NormFloat64())
		}
		return v
	}
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: inputs, Units: units}
	for _, d := range []float64{resetFromInput, gateFromInput, candidateFromInput} {
		layer.W = append(layer.W, normal(units*inputs, d)...)
		layer.B = append(layer.B, normal(units, d)...)
	}
	for _, d := range []float64{resetFromState, gateFromState, candidateFromState} {
		layer.U = append(layer.U, normal(units*units, d)...)
		layer.D = append(layer.D, normal(units, d)...)
	}
	for j, steps := range TimeConstants {
		layer.B[units+j] = single(math.Log(steps - 1)) // logistic(log(T-1)) = 1 - 1/T
		layer.D[units+j] = 0
	}
	head := &model.Dense{Inputs: units, Outputs: outputs, W: normal(outputs*units, 1),
		B: make([]float64, outputs)}
	return &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}}
}

// single rounds to float32, as model files store weights.
func single(v float64) float64 { return float64(float32(v)) }
