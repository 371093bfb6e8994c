package main

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"kerf/dataset"
	"kerf/exporter"
	"kerf/model"
	"kerf/quant"
)

// sample is one network to measure.
type sample struct {
	shape  quant.Shape
	isHeld bool // judges the fit and has no part in it
}

// How many networks the fit has, and how many judge it.
const (
	fitted = 120
	held   = 30
)

var (
	kinds       = []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM, model.ElmanTanh, model.ElmanReLU}
	activations = []model.Activation{model.Identity, model.ReLU, model.Tanh, model.Logistic}
)

// samples draws networks from a fixed seed. Those of the fit have 1 to 48 features and 1 to 48 units, so that what it
// judges lies within; those held out have 4 to 40 features, 4 to 64 units, int8 and int16 weights, each kind of layer
// in turn.
func samples() []sample {
	random := rand.New(rand.NewPCG(2026, 11))
	between := func(low, high int) int { return low + random.IntN(high-low+1) }
	size := func() int { // small ones more often: there compilers find most to save
		if random.IntN(3) == 0 {
			return between(1, 10)
		}
		return between(1, 48)
	}
	var all []sample
	for i := range fitted + held {
		isHeld := i >= fitted
		word := func() int {
			if isHeld {
				return []int{8, 8, 8, 16}[random.IntN(4)]
			}
			return []int{4, 8, 8, 16, 16}[random.IntN(5)]
		}
		s := quant.Shape{Features: size()}
		layers := 1
		if random.IntN(6) == 0 {
			layers = between(2, 3)
		}
		for n := range layers {
			units := size()
			if isHeld {
				units = between(4, 64)
			}
			kind := kinds[random.IntN(len(kinds))]
			if n == 0 {
				kind = kinds[i%len(kinds)]
			}
			state := 16
			if kind != model.ElmanTanh && kind != model.ElmanReLU && random.IntN(3) == 0 {
				state = 32
			}
			s.Layers = append(s.Layers, quant.LayerShape{Kind: kind, Units: units})
			s.Formats.Layers = append(s.Formats.Layers, quant.LayerFormats{InputBits: word(), RecurrentBits: word(), StateBits: state})
		}
		if isHeld {
			s.Features = between(4, 40)
		}
		if random.IntN(4) == 0 {
			s.Dense = append(s.Dense, quant.DenseShape{Outputs: between(2, 16), Activation: activations[random.IntN(4)]})
			s.Formats.Dense = append(s.Formats.Dense, word())
		}
		last := model.Identity
		if random.IntN(4) == 0 {
			last = activations[random.IntN(4)]
		}
		s.Dense = append(s.Dense, quant.DenseShape{Outputs: between(1, 4), Activation: last})
		s.Formats.Dense = append(s.Formats.Dense, word())
		all = append(all, sample{s, isHeld})
	}
	return all
}

// files is the emitted C, with net as the name of the job.
func (s sample) files(seed uint64) (map[string][]byte, error) {
	random := rand.New(rand.NewPCG(seed, 0))
	p := s.network(random)
	h := &exporter.Handoff{Name: "net", Version: "sample", JobHash: strings.Repeat("0", 64), VerdictLine: "sample", Description: p.Net.String()}
	for _, l := range s.shape.Layers {
		units := make([]int, l.Units)
		for j := range units {
			units[j] = j
		}
		h.KeptUnits = append(h.KeptUnits, units)
	}
	var err error
	rec := s.recordings(random)
	if h.Net, err = quant.Quantize(p, quant.Calibrate(p, rec), s.shape.Formats, quant.Nearest); err != nil {
		return nil, err
	}
	h.Vectors = exporter.Vectors(h.Net, rec)
	return h.CFiles()
}

// network has normally distributed weights of the size that training starts
// from: a deviation of 1 over the root of the number of inputs would be common
// practice; half of it for recurrent weights keeps a ReLU state from growing.
func (s sample) network(random *rand.Rand) *dataset.Float {
	values := func(n int, size float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = random.NormFloat64() * size
		}
		return v
	}
	net := &model.Network{}
	in := s.shape.Features
	for _, l := range s.shape.Layers {
		rows := l.Kind.Gates() * l.Units
		net.Recurrent = append(net.Recurrent, &model.Recurrent{
			Kind: l.Kind, Inputs: in, Units: l.Units,
			W: values(rows*in, 0.3), U: values(rows*l.Units, 0.1), B: values(rows, 0.5), D: values(rows, 0.5),
		})
		in = l.Units
	}
	for _, d := range s.shape.Dense {
		net.Dense = append(net.Dense, &model.Dense{Inputs: in, Outputs: d.Outputs, Activation: d.Activation, W: values(d.Outputs*in, 0.5), B: values(d.Outputs, 0.5)})
		in = d.Outputs
	}
	var features []dataset.Feature
	for i := range s.shape.Features {
		features = append(features, dataset.Feature{Name: fmt.Sprintf("f%d", i), Unit: "bar", Std: 1})
	}
	var outputs []dataset.Output
	for o := range in {
		outputs = append(outputs, dataset.Output{Name: fmt.Sprintf("o%d", o), Unit: "L/min", Mean: 1, Std: 2})
	}
	return dataset.NewFloat(net, features, outputs)
}

// recordings are three runs of 50 steps of normally distributed features.
func (s sample) recordings(random *rand.Rand) *dataset.Recordings {
	const runs, steps = 3, 50
	outputs := s.shape.Dense[len(s.shape.Dense)-1].Outputs
	rec := &dataset.Recordings{Features: s.shape.Features, Outputs: outputs}
	for i := range runs {
		one := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "random", Steps: steps, Y: make([]float64, steps*outputs)}
		for range steps * s.shape.Features {
			one.X = append(one.X, random.NormFloat64())
		}
		rec.Sequences = append(rec.Sequences, one)
	}
	return rec
}
