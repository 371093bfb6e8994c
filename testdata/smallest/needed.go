package smallest

import (
	"math"
	"math/rand/v2"

	"kerf/dataset"
	"kerf/model"
	"kerf/portable"
)

// needed has nothing that could be cut. The recorded outputs are those of the network itself, plus
// noise. Its four outputs mix four units by an invertible matrix, so that no three states hold
// them; its features are independent of each other.
var needed = &Job{
	Name:    "needed",
	seed:    neededSeed,
	seconds: 0.1,
	epochs:  200,
	layers:  []layer{{model.GRUResetAfter, 4}},
	sensors: []sensor{
		{"supply_level", "supply", "level", "bar"},
		{"return_level", "return", "level", "bar"},
		{"case_drain_level", "case_drain", "level", "bar"},
		{"suction_level", "suction", "level", "bar"},
		{"oil_temperature", "oil", "level", "degC"},
		{"oil_moisture", "oil", "saturation", "%"},
	},
	quantities: []quantity{
		{"leakage", "L/min", 0.02},
		{"friction", "N m", 0.25},
		{"shaft_play", "um", 1.2},
		{"seal_wear", "um", 0.5},
	},
	start: newObserver,
	drawn: drawNeeded,
}

// neededSeed is the seed of the job.
const neededSeed = 45_000

// newObserver draws the features at the start of a sequence.
func newObserver(d duty, random *rand.Rand) machine {
	o := &observer{random: random, run: fourUnits(neededSeed + networkSeed).NewRun(),
		pace: paces[d.name], at: make([]float64, len(wanderings))}
	for i := range o.at {
		o.at[i] = portable.Normal(random)
	}
	return o
}

// wanderings are the features: their mean and standard deviation, and the steps over which they
// forget.
var wanderings = []struct{ mean, std, lag float64 }{
	{110, 25, 5}, {2.5, 0.55, 7}, {0.9, 0.2, 12}, {-0.3, 0.06, 20}, {50, 9, 30}, {45, 9, 30},
}

// readings are the normalisations of the outputs of needed.
var readings = []struct{ mean, std float64 }{{1.5, 0.4}, {20, 4}, {100, 25}, {45, 12}}

// drawNeeded returns the network as given.
func drawNeeded(j *Job) *dataset.Float {
	var features []dataset.Feature
	for i, s := range j.sensors {
		features = append(features, dataset.Feature{Name: s.name, Channel: s.channel, Kind: s.kind,
			Unit: s.unit, Mean: wanderings[i].mean, Std: wanderings[i].std})
	}
	var outputs []dataset.Output
	for o, q := range j.quantities {
		outputs = append(outputs, dataset.Output{Name: q.name, Unit: q.unit, Mean: readings[o].mean,
			Std: readings[o].std})
	}
	return dataset.NewFloat(fourUnits(j.seed+networkSeed), features, outputs)
}

// paces are factors of how slowly the features change.
var paces = map[string]float64{"warm_up": 1.5, "steady_splitting": 1, "fast_cycling": 0.7,
	"hard_wood": 1}

// observer is a machine whose outputs are what a network makes of its features.
type observer struct {
	random *rand.Rand
	run    *model.Run
	pace   float64
	at     []float64 // the features, normalised
}

// step implements [machine].
func (o *observer) step(x, y []float64) {
	for i, w := range wanderings {
		keep := 1 - 1/(o.pace*w.lag)
		fresh := math.Sqrt(1 - float64(keep*keep)) // the standard deviation stays 1
		o.at[i] = float64(keep*o.at[i]) + float64(fresh*portable.Normal(o.random))
		x[i] = w.mean + float64(w.std*o.at[i])
	}
	o.run.Step(o.at, y)
	for i, r := range readings {
		y[i] = r.mean + float64(r.std*y[i])
	}
}

// fourUnits returns the network of needed: a GRU of four units that forget over 3, 6, 12 and 25
// steps. Each unit follows two features, and all features and units a little.
func fourUnits(seed uint64) *model.Network {
	random := rand.New(rand.NewPCG(seed, 0))
	inputs, units := len(wanderings), 4
	normal := func(count int, deviation float64) []float64 {
		v := make([]float64, count)
		for i := range v {
			v[i] = single(deviation * portable.Normal(random))
		}
		return v
	}
	l := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: inputs, Units: units}
	l.W = append(normal(2*units*inputs, 0.2), normal(units*inputs, 0.1)...)
	l.U = append(normal(2*units*units, 0.2), normal(units*units, 0.3)...)
	l.B, l.D = normal(3*units, 0.1), normal(3*units, 0.1)
	for unit, steps := range []float64{3, 6, 12, 25} {
		l.B[units+unit] = single(portable.Log(steps - 1)) // logistic(log(T-1)) = 1 - 1/T
	}
	for _, follow := range []struct {
		unit, feature int
		weight        float64
	}{{0, 0, 0.9}, {0, 1, -0.8}, {1, 1, 0.7}, {1, 2, 0.9}, {2, 2, -0.7}, {2, 3, 1}, {3, 4, 1},
		{3, 5, -1}} {
		l.W[(2*units+follow.unit)*inputs+follow.feature] += single(follow.weight)
	}
	// Rows of a Hadamard matrix are orthogonal: no output repeats another.
	head := &model.Dense{Inputs: units, Outputs: units, B: make([]float64, units), W: []float64{
		1, 1, 1, 1,
		1, -1, 1, -1,
		1, 1, -1, -1,
		1, -1, -1, 1,
	}}
	return &model.Network{Recurrent: []*model.Recurrent{l}, Dense: []*model.Dense{head}}
}

// single rounds to float32, as model files store weights.
func single(v float64) float64 { return float64(float32(v)) }
