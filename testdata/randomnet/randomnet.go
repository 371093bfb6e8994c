// Package randomnet makes networks with random weights, word widths and recordings, for tests of
// what is done with any network.
package randomnet

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
)

// Layers are the layers of a network: the recurrent ones by kind, the dense ones by activation.
type Layers struct {
	Kinds       []model.Kind
	Activations []model.Activation
}

// OneGRU is a GRU layer with a linear head.
var OneGRU = Layers{[]model.Kind{model.GRUResetAfter}, []model.Activation{model.Identity}}

// Network is a float network of 1 to 24 units per recurrent layer with weights of mixed size, some
// rows tiny and some large, so that every choice of fraction bits occurs.
func Network(random *rand.Rand, features int, layers Layers, outputs int) *dataset.Float {
	values := func(rows, cols int, size float64) []float64 {
		v := make([]float64, rows*cols)
		for r := range rows {
			rowSize := size * []float64{0.01, 0.3, 1, 3}[random.IntN(4)]
			for c := range cols {
				v[r*cols+c] = random.NormFloat64() * rowSize
			}
		}
		return v
	}
	net := &model.Network{}
	in := features
	for _, kind := range layers.Kinds {
		units := 1 + random.IntN(24)
		rows := kind.Gates() * units
		size := 0.5
		if kind == model.ElmanReLU {
			size = 0.1 // a ReLU state must not grow without end
		}
		net.Recurrent = append(net.Recurrent, &model.Recurrent{Kind: kind, Inputs: in, Units: units,
			W: values(rows, in, 0.5), U: values(rows, units, size), B: values(rows, 1, 1),
			D: values(rows, 1, 1)})
		in = units
	}
	for i, activation := range layers.Activations {
		size := 1 + random.IntN(10)
		if i == len(layers.Activations)-1 {
			size = outputs
		}
		net.Dense = append(net.Dense,
			&model.Dense{Inputs: in, Outputs: size, Activation: activation, W: values(size, in, 1),
				B: values(size, 1, 1)})
		in = size
	}
	p := &dataset.Float{Net: net}
	for i := range features {
		p.Features = append(p.Features, dataset.Feature{Name: fmt.Sprintf("f%d", i), Unit: "bar",
			Mean: random.NormFloat64(), Std: 0.1 + random.Float64()})
		p.Kept = append(p.Kept, i)
	}
	for o := range outputs {
		p.Outputs = append(p.Outputs, dataset.Output{Name: fmt.Sprintf("o%d", o), Unit: "L/min",
			Mean: random.NormFloat64(), Std: 0.5 + random.Float64()})
	}
	return p
}

// Formats draws the word widths of every tensor.
func Formats(random *rand.Rand, net *model.Network) quant.Formats {
	word := func() int { return []int{4, 8, 16}[random.IntN(3)] }
	var f quant.Formats
	for _, l := range net.Recurrent {
		state := 16
		if l.Kind != model.ElmanTanh && l.Kind != model.ElmanReLU {
			state = []int{16, 32}[random.IntN(2)]
		}
		f.Layers = append(f.Layers,
			quant.LayerFormats{InputBits: word(), RecurrentBits: word(), StateBits: state})
	}
	for range net.Dense {
		f.Dense = append(f.Dense, word())
	}
	return f
}

// Recordings are short runs of normal features with references of zero.
func Recordings(random *rand.Rand, p *dataset.Float) *dataset.Recordings {
	rec := &dataset.Recordings{Features: len(p.Features), Outputs: len(p.Outputs)}
	for i := range 3 {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "random", Steps: 50,
			Y: make([]float64, 50*len(p.Outputs))}
		for range s.Steps {
			for _, f := range p.Features {
				s.X = append(s.X, f.Mean+f.Std*random.NormFloat64())
			}
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// All lists layers of many forms: every cell alone, stacks of mixed kind, and every activation in
// the middle and at the end.
func All() []Layers {
	var all []Layers
	add := func(kinds []model.Kind, activations ...model.Activation) {
		all = append(all, Layers{kinds, activations})
	}
	for k := model.GRUResetAfter; k <= model.ElmanReLU; k++ {
		add([]model.Kind{k}, model.Identity)
		add([]model.Kind{k}, model.Identity) // other widths
	}
	for a := model.Identity; a <= model.Logistic; a++ {
		add(OneGRU.Kinds, a)
		add(OneGRU.Kinds, a, model.Identity)
	}
	add([]model.Kind{model.GRUResetAfter, model.GRUResetAfter}, model.ReLU, model.Identity)
	add([]model.Kind{model.LSTM, model.GRUResetBefore}, model.Tanh, model.ReLU, model.Identity)
	add([]model.Kind{model.ElmanReLU, model.ElmanTanh, model.LSTM}, model.Identity)
	add([]model.Kind{model.GRUResetBefore, model.LSTM, model.GRUResetAfter}, model.Logistic,
		model.Logistic)
	return all
}

// Seeded is a source of random numbers that starts at a seed.
func Seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 0)) }

// Quantized is a network of 1 to 24 features and 1 to 3 outputs in random formats, with the float
// network and the recordings that it was calibrated on.
func Quantized(t testing.TB, random *rand.Rand, layers Layers) (*quant.Network, *dataset.Float,
	*dataset.Recordings) {
	t.Helper()
	p := Network(random, 1+random.IntN(24), layers, 1+random.IntN(3))
	rec := Recordings(random, p)
	rounding := quant.Roundings[random.IntN(len(quant.Roundings))]
	net, err := quant.Quantize(p, quant.Calibrate(p, rec), Formats(random, p.Net), rounding)
	if err != nil {
		t.Fatal(err)
	}
	return net, p, rec
}
