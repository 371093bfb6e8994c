package quant

import (
	"math"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

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
