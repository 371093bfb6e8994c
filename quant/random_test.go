package quant

import (
	"fmt"
	"math"
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

// The formats are chosen from what Calibrate sees, so its figures are compared
// with a plain loop over the definition.
func TestCalibrateReadsTheLargestMagnitudes(t *testing.T) {
	fromState := 0
	for seed := range uint64(20) {
		p := RandomFloat(seed, 3, 4, 2)
		rec := RandomRecordings(seed, p, 3, 40)
		want, recurrent := largestMagnitudes(p, rec)
		if recurrent == want.Layers[0].Gate {
			fromState++
		}
		got := Calibrate(p, rec)
		if math.Abs(got.Input-want.Input) > 1e-12 ||
			math.Abs(got.Layers[0].Gate-want.Layers[0].Gate) > 1e-12 ||
			math.Abs(got.Layers[0].State-want.Layers[0].State) > 1e-12 {
			t.Errorf("seed %d: Calibrate = %+v, want %+v", seed, got, want)
		}
	}
	if fromState == 0 || fromState == 20 {
		t.Errorf("the state decides in %d of 20 networks: both parts must be seen", fromState)
	}
}

// largestMagnitudes is the definition of Calibration; recurrent is the largest
// magnitude of U h + d alone.
func largestMagnitudes(p *dataset.Float,
	rec *dataset.Recordings) (want Calibration, recurrent float64) {
	layer := p.Net.Recurrent[0]
	gate, state := 0.0, 0.0
	for _, s := range rec.Sequences {
		run := p.Net.NewRun()
		for step := range s.Steps {
			x, raw := make([]float64, 3), make([]float64, 2)
			for i, f := range p.Features {
				x[i] = (s.X[step*3+i] - f.Mean) / f.Std
				want.Input = math.Max(want.Input, math.Abs(x[i]))
			}
			for r := range layer.B {
				input, memory := layer.B[r], layer.D[r]
				for i := range x {
					input += layer.W[r*3+i] * x[i]
				}
				for j, h := range run.State(0) {
					memory += layer.U[r*4+j] * h
				}
				gate = max(gate, math.Abs(input), math.Abs(memory))
				recurrent = math.Max(recurrent, math.Abs(memory))
			}
			run.Step(x, raw)
			state = max(state, largest(run.State(0)))
		}
	}
	want.Layers = []LayerRange{{Gate: gate, State: state}}
	return want, recurrent
}

// By hand: a gate that nothing moves stands at the logistic of its bias. With ln k it keeps k/(k+1)
// of the state in every step, and the unit remembers k + 1 steps.
func TestCalibrateReadsTheMemory(t *testing.T) {
	for _, kind := range []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM,
		model.ElmanTanh} {
		p := layered(9, []model.Kind{kind}, []model.Activation{model.Identity})
		l := p.Net.Recurrent[0]
		if kind != model.ElmanTanh {
			for j := range l.Units {
				r := l.Units + j // of the update or forget gate
				clear(l.W[r*l.Inputs : (r+1)*l.Inputs])
				clear(l.U[r*l.Units : (r+1)*l.Units])
				l.B[r], l.D[r] = math.Log(float64(j+1)), 0
			}
		}
		memory := Calibrate(p, RandomRecordings(9, p, 6, 20)).Layers[0].Memory
		if kind == model.ElmanTanh {
			if memory != nil {
				t.Errorf("%s: it remembers %v", kind, memory)
			}
			continue
		}
		if len(memory) != l.Units {
			t.Fatalf("%s: %d units of %d remember", kind, len(memory), l.Units)
		}
		for j, steps := range memory {
			if want := float64(j + 2); math.Abs(steps-want) > 1e-9 {
				t.Errorf("%s, unit %d: it remembers %g steps, want %g", kind, j, steps, want)
			}
		}
	}
}
