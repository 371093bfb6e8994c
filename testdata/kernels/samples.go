package main

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"kerf/dataset"
	"kerf/exporter/emit"
	"kerf/model"
	"kerf/quant"
)

// sample is one network to measure.
type sample struct {
	shape  quant.Shape       // with the shifts that quantization found
	isHeld bool              // judges the fit and has no part in it
	files  map[string][]byte // the emitted C, by name
}

// Numbers of networks in the fit and of networks that judge it, and the seeds from which they are
// drawn. heldSeed was written down when the form of the estimate was settled, before any network
// that judges was measured; networks of an earlier one, 20261130, had shown what was missing.
const (
	fitted = 115
	// anyWords is the number of networks, the first of the fit, that also have int4 and layers of a
	// single unit. The others have words and sizes like those that judge.
	anyWords   = 80
	held       = 30
	fittedSeed = 2026
	heldSeed   = 20261201
)

var (
	kinds = []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM,
		model.ElmanTanh, model.ElmanReLU}
	activations = []model.Activation{model.Identity, model.ReLU, model.Tanh, model.Logistic}
)

// samples draws the networks of the fit, or those that judge it, from fixed seeds. Networks of the
// fit have 1 to 48 features and 1 to 48 units; those that judge have 4 to 40 features, 4 to 64
// units, int8 and int16 weights. Both have each kind of layer in turn.
func samples(judged bool) ([]*sample, error) {
	var all []*sample
	n, seed := fitted, uint64(fittedSeed)
	if judged {
		n, seed = held, heldSeed
	}
	random := rand.New(rand.NewPCG(seed, 11))
	for i := range n {
		s := &sample{shape: draw(random, i, judged), isHeld: judged}
		for s.files == nil {
			if err := s.emit(random); err != nil {
				return nil, fmt.Errorf("network %d: %w", i, err)
			}
		}
		all = append(all, s)
	}
	return all, nil
}

// draw draws the sizes and word widths of network i.
func draw(random *rand.Rand, i int, judged bool) quant.Shape {
	between := func(low, high int) int { return low + random.IntN(high-low+1) }
	size := func() int { // small sizes more often: there compilers find most to save
		least := 1
		if i >= anyWords {
			least = 3
		}
		if random.IntN(3) == 0 {
			return between(least, 10)
		}
		return between(least, 48)
	}
	word := func() int {
		if judged || i >= anyWords {
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
		if judged {
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
		s.Formats.Layers = append(s.Formats.Layers,
			quant.LayerFormats{InputBits: word(), RecurrentBits: word(), StateBits: state})
	}
	if judged {
		s.Features = between(4, 40)
	}
	if random.IntN(4) == 0 {
		s.Dense = append(s.Dense,
			quant.DenseShape{Outputs: between(2, 16), Activation: activations[random.IntN(4)]})
		s.Formats.Dense = append(s.Formats.Dense, word())
	}
	last := model.Identity
	if random.IntN(4) == 0 {
		last = activations[random.IntN(4)]
	}
	s.Dense = append(s.Dense, quant.DenseShape{Outputs: between(1, 4), Activation: last})
	s.Formats.Dense = append(s.Formats.Dense, word())
	return s
}

// emit draws weights and makes the C, with net as the name of the job. If a row is too large for
// the format, files stays nil.
func (s *sample) emit(random *rand.Rand) error {
	p := s.network(random)
	h := &emit.Program{Name: "net", Version: "sample", JobHash: strings.Repeat("0", 64),
		VerdictLine: "sample", Description: p.Net.String()}
	for _, l := range s.shape.Layers {
		units := make([]int, l.Units)
		for j := range units {
			units[j] = j
		}
		h.KeptUnits = append(h.KeptUnits, units)
	}
	var err error
	rec := s.recordings(random)
	if h.Net, err = quant.Quantize(p, quant.Calibrate(p, rec), s.shape.Formats,
		quant.Nearest); err != nil {
		if tooLarge := (*quant.RangeError)(nil); errors.As(err, &tooLarge) {
			return nil
		}
		return err
	}
	s.shape = h.Net.Shape()
	h.Vectors = emit.Vectors(h.Net, rec)
	s.files, err = h.CFiles()
	return err
}

// network returns a network with normally distributed weights. Their size differs from network to
// network and layer to layer: from the size that training starts with (about 1 over the root of the
// number of inputs; common practice, no source) to eight times as much. Trained networks have sums
// beyond 8, so that gates get coarser formats, which decide shifts. Small recurrent weights keep a
// ReLU state from growing.
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
		size := math.Exp2(4*random.Float64() - 1)
		again := min(size, 1)
		if l.Kind != model.ElmanReLU {
			again = size
		}
		net.Recurrent = append(net.Recurrent, &model.Recurrent{
			Kind: l.Kind, Inputs: in, Units: l.Units,
			W: values(rows*in, 0.25*size), U: values(rows*l.Units, 0.1*again), B: values(rows, 0.5),
			D: values(rows, 0.5),
		})
		in = l.Units
	}
	for _, d := range s.shape.Dense {
		net.Dense = append(net.Dense,
			&model.Dense{Inputs: in, Outputs: d.Outputs, Activation: d.Activation,
				W: values(d.Outputs*in, 0.3*math.Exp2(3*random.Float64()-1)),
				B: values(d.Outputs, 0.5)})
		in = d.Outputs
	}
	var features []dataset.Feature
	for i := range s.shape.Features {
		features = append(features,
			dataset.Feature{Name: fmt.Sprintf("f%d", i), Unit: "bar", Std: 1})
	}
	var outputs []dataset.Output
	for o := range in {
		outputs = append(outputs,
			dataset.Output{Name: fmt.Sprintf("o%d", o), Unit: "L/min", Mean: 1, Std: 2})
	}
	return dataset.NewFloat(net, features, outputs)
}

// recordings returns three sequences of 50 steps of normally distributed features.
func (s sample) recordings(random *rand.Rand) *dataset.Recordings {
	const runs, steps = 3, 50
	outputs := s.shape.Dense[len(s.shape.Dense)-1].Outputs
	rec := &dataset.Recordings{Features: s.shape.Features, Outputs: outputs}
	for i := range runs {
		one := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "random", Steps: steps,
			Y: make([]float64, steps*outputs)}
		for range steps * s.shape.Features {
			one.X = append(one.X, random.NormFloat64())
		}
		rec.Sequences = append(rec.Sequences, one)
	}
	return rec
}
