package quant

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// RandomFloat is a float network with rows of mixed size, from tiny to large,
// so that every choice of fraction bits occurs. Same seed, same network.
func RandomFloat(seed uint64, features, units, outputs int) *dataset.Float {
	random := rand.New(rand.NewPCG(seed, 1))
	values := func(rows, cols int, size float64) []float64 {
		v := make([]float64, 0, rows*cols)
		for range rows {
			rowSize := size * []float64{0.01, 0.3, 1, 3}[random.IntN(4)]
			for range cols {
				v = append(v, random.NormFloat64()*rowSize)
			}
		}
		return v
	}
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: features, Units: units,
		W: values(3*units, features, 0.5), U: values(3*units, units, 0.5), B: values(3*units, 1, 1),
		D: values(3*units, 1, 1)}
	head := &model.Dense{Inputs: units, Outputs: outputs, W: values(outputs, units, 1),
		B: values(outputs, 1, 1)}
	net := &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}}
	var declared []dataset.Feature
	for i := range features {
		declared = append(declared, dataset.Feature{Name: fmt.Sprintf("f%d", i), Unit: "bar",
			Mean: random.NormFloat64(), Std: 0.1 + random.Float64()})
	}
	var predicted []dataset.Output
	for o := range outputs {
		predicted = append(predicted, dataset.Output{Name: fmt.Sprintf("o%d", o), Unit: "L/min",
			Mean: random.NormFloat64(), Std: 0.5 + random.Float64()})
	}
	return dataset.NewFloat(net, declared, predicted)
}

// RandomRecordings are sequences whose features are normal with the mean and
// std that p declares; the reference outputs are zero.
func RandomRecordings(seed uint64, p *dataset.Float, sequences, steps int) *dataset.Recordings {
	random := rand.New(rand.NewPCG(seed, 2))
	rec := &dataset.Recordings{Features: len(p.Features), Outputs: len(p.Outputs)}
	for i := range sequences {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "random", Steps: steps,
			Y: make([]float64, steps*len(p.Outputs))}
		for range steps {
			for _, f := range p.Features {
				s.X = append(s.X, f.Mean+f.Std*random.NormFloat64())
			}
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// RandomIntegers are steps of int16 inputs, a third of them at the ends of the range.
func RandomIntegers(seed uint64, steps, features int) [][]int32 {
	random := rand.New(rand.NewPCG(seed, 3))
	all := make([][]int32, steps)
	for step := range all {
		all[step] = make([]int32, features)
		for i := range all[step] {
			if step%3 == 0 {
				all[step][i] = []int32{minInt16, maxInt16, 0}[random.IntN(3)]
			} else {
				all[step][i] = int32(random.IntN(1<<16)) + minInt16
			}
		}
	}
	return all
}

// Widths are word widths of a network with one recurrent and one dense layer.
func Widths(input, recurrent, head, state int) Formats {
	return Formats{Layers: []LayerFormats{{input, recurrent, state}}, Dense: []int{head}}
}

// AllFormats lists every combination of word widths of such a network.
func AllFormats() []Formats {
	var all []Formats
	for _, input := range []int{4, 8, 16} {
		for _, recurrent := range []int{4, 8, 16} {
			for _, head := range []int{8, 16} {
				for _, state := range []int{16, 32} {
					all = append(all, Widths(input, recurrent, head, state))
				}
			}
		}
	}
	return all
}

// Ranges is a calibration by hand for such a network, without moments.
func Ranges(input, gate float64) Calibration {
	return Calibration{Input: input, Layers: []LayerRange{{Gate: gate}}, Dense: []DenseRange{{}}}
}

// randomNetwork is RandomFloat in fixed point, calibrated on random recordings.
func randomNetwork(tb testing.TB, seed uint64, features, units, outputs int,
	formats Formats) *Network {
	tb.Helper()
	p := RandomFloat(seed, features, units, outputs)
	return mustQuantize(tb, p, Calibrate(p, RandomRecordings(seed, p, 2, 50)), formats)
}

func mustQuantize(tb testing.TB, p *dataset.Float, c Calibration, formats Formats) *Network {
	tb.Helper()
	net, err := Quantize(p, c, formats, Nearest)
	if err != nil {
		tb.Fatal(err)
	}
	return net
}

// must returns a value whose context does not end.
func must[T any](value T, err error) T {
	if err != nil {
		panic(err)
	}
	return value
}
