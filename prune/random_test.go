package prune

import (
	"fmt"
	"math"
	"math/rand/v2"

	"kerf/dataset"
	"kerf/model"
)

// randomPredictor is a float network with normal weights. Same seed, same network.
func randomPredictor(seed uint64, features, units, outputs int) *dataset.Float {
	random := rand.New(rand.NewPCG(seed, 1))
	values := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = 0.7 * random.NormFloat64()
		}
		return v
	}
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: features, Units: units,
		W: values(3 * units * features), U: values(3 * units * units), B: values(3 * units),
		D: values(3 * units)}
	head := &model.Dense{Inputs: units, Outputs: outputs, W: values(outputs * units),
		B: values(outputs)}
	net := &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}}
	var declared []dataset.Feature
	for i := range features {
		declared = append(declared,
			dataset.Feature{Name: fmt.Sprintf("f%d", i), Mean: 5 * random.NormFloat64(),
				Std: 0.5 + random.Float64()})
	}
	var predicted []dataset.Output
	for o := range outputs {
		predicted = append(predicted,
			dataset.Output{Name: fmt.Sprintf("o%d", o), Mean: random.NormFloat64(),
				Std: 0.5 + random.Float64()})
	}
	return dataset.NewFloat(net, declared, predicted)
}

// randomRecordings are sequences of different lengths in two scenarios, with
// features that stay off their declared mean by half a std.
func randomRecordings(seed uint64, p *dataset.Float) *dataset.Recordings {
	random := rand.New(rand.NewPCG(seed, 2))
	rec := &dataset.Recordings{Features: len(p.Features), Outputs: len(p.Outputs)}
	for i, steps := range []int{30, 7, 19} {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: []string{"cold", "warm", "cold"}[i],
			Steps: steps, Y: make([]float64, steps*len(p.Outputs))}
		for range steps {
			for _, f := range p.Features {
				s.X = append(s.X, f.Mean+f.Std*(0.5+random.NormFloat64()))
			}
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

func predict(p dataset.Predictor, s *dataset.Sequence, outputs int) []float64 {
	dst := make([]float64, s.Steps*outputs)
	p.Predict(s, dst)
	return dst
}

// heldForward is a forward pass of a reset-after GRU with head, written down
// from the equations at [model.GRUResetAfter]: every feature i in x and every
// unit j in h whose held value is a number is replaced by it wherever it is read.
type heldForward struct {
	layer    *model.Recurrent
	head     *model.Dense
	features []float64 // normalised; NaN = not held
	units    []float64 // NaN = not held
}

func hold(net *model.Network) *heldForward {
	f := &heldForward{layer: net.Recurrent[0], head: net.Dense[0]}
	for range f.layer.Inputs {
		f.features = append(f.features, math.NaN())
	}
	for range f.layer.Units {
		f.units = append(f.units, math.NaN())
	}
	return f
}

// run takes steps of normalised features [steps × inputs] from a zero state
// and returns raw outputs [steps × outputs].
func (f *heldForward) run(x []float64) []float64 {
	l := f.layer
	replace := func(held, v float64) float64 {
		if math.IsNaN(held) {
			return v
		}
		return held
	}
	logistic := func(v float64) float64 { return 1 / (1 + math.Exp(-v)) }
	h := make([]float64, l.Units)
	var raw []float64
	for ; len(x) > 0; x = x[l.Inputs:] {
		input := func(row int) float64 {
			sum := l.B[row]
			for i := range l.Inputs {
				sum += l.W[row*l.Inputs+i] * replace(f.features[i], x[i])
			}
			return sum
		}
		recurrent := func(row int) float64 {
			sum := l.D[row]
			for j := range l.Units {
				sum += l.U[row*l.Units+j] * replace(f.units[j], h[j])
			}
			return sum
		}
		next := make([]float64, l.Units)
		for j := range l.Units {
			r := logistic(input(j) + recurrent(j))
			z := logistic(input(l.Units+j) + recurrent(l.Units+j))
			n := math.Tanh(input(2*l.Units+j) + r*recurrent(2*l.Units+j))
			next[j] = (1-z)*n + z*h[j]
		}
		h = next
		for o := range f.head.Outputs {
			sum := f.head.B[o]
			for j := range l.Units {
				sum += f.head.W[o*l.Units+j] * replace(f.units[j], h[j])
			}
			raw = append(raw, sum)
		}
	}
	return raw
}

// must returns a value whose context does not end.
func must[T any](value T, err error) T {
	if err != nil {
		panic(err)
	}
	return value
}
