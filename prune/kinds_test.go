package prune

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// stacked is a float network of mixed layers.
func stacked(seed uint64, kinds ...model.Kind) (*dataset.Float, *dataset.Recordings) {
	random := rand.New(rand.NewPCG(seed, 3))
	values := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = 0.4 * random.NormFloat64()
		}
		return v
	}
	net := &model.Network{}
	in := 4
	for _, k := range kinds {
		const units = 5
		net.Recurrent = append(net.Recurrent, &model.Recurrent{Kind: k, Inputs: in, Units: units,
			W: values(k.Gates() * units * in), U: values(k.Gates() * units * units),
			B: values(k.Gates() * units), D: values(k.Gates() * units)})
		in = units
	}
	net.Dense = []*model.Dense{
		{Inputs: in, Outputs: 3, Activation: model.Tanh, W: values(3 * in), B: values(3)},
		{Inputs: 3, Outputs: 2, W: values(6), B: values(2)},
	}
	var features []dataset.Feature
	for i := range 4 {
		features = append(features, dataset.Feature{Name: fmt.Sprint("f", i), Mean: 1, Std: 2})
	}
	p := dataset.NewFloat(net, features, []dataset.Output{{Name: "a", Std: 1}, {Name: "b", Std: 1}})
	rec := &dataset.Recordings{Features: 4, Outputs: 2}
	for i := range 3 {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "any", Steps: 60,
			Y: make([]float64, 120)}
		for range 240 {
			s.X = append(s.X, 1+2*random.NormFloat64())
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return p, rec
}

var stacks = [][]model.Kind{
	{model.GRUResetAfter}, {model.GRUResetBefore}, {model.LSTM}, {model.ElmanTanh},
	{model.ElmanReLU},
	{model.LSTM, model.GRUResetBefore}, {model.GRUResetAfter, model.ElmanTanh, model.LSTM},
}

func predictAll(p dataset.Predictor, rec *dataset.Recordings) []float64 {
	var all []float64
	for _, s := range rec.Sequences {
		y := make([]float64, s.Steps*rec.Outputs)
		p.Predict(s, y)
		all = append(all, y...)
	}
	return all
}

// Cutting nothing changes no bit, whatever the layers.
func TestCuttingNothingChangesNothingInAnyKind(t *testing.T) {
	for i, kinds := range stacks {
		p, rec := stacked(uint64(i), kinds...)
		want := predictAll(p, rec)
		got := predictAll(CutPredictor(p, Without(4), AllUnits(p.Net), MeasureMeans(p, rec)), rec)
		for j := range want {
			if got[j] != want[j] {
				t.Fatalf("%v: output %d is %g, want %g", kinds, j, got[j], want[j])
			}
		}
	}
}

// A unit whose state nothing reads may go without a trace; its own layer reads
// it through U, the next layer or the first dense layer through W.
func TestCuttingAnUnreadUnitChangesNothingInAnyKind(t *testing.T) {
	for i, kinds := range stacks {
		for layer := range kinds {
			p, rec := stacked(uint64(i), kinds...)
			const gone = 2
			silenceUnit(p.Net, layer, gone)
			want := predictAll(p, rec)
			units := AllUnits(p.Net)
			units[layer] = Without(5, gone)
			small := CutPredictor(p, Without(4), units, MeasureMeans(p, rec))
			if small.Net.Recurrent[layer].Units != 4 || small.Net.Validate() != nil {
				t.Fatalf("%v: layer %d has %d units, %v", kinds, layer,
					small.Net.Recurrent[layer].Units, small.Net.Validate())
			}
			got := predictAll(small, rec)
			for j := range want {
				if math.Abs(got[j]-want[j]) > 1e-12 {
					t.Fatalf("%v without unit %d.%d: output %d is %g, want %g", kinds, layer, gone,
						j, got[j], want[j])
				}
			}
		}
	}
}

func silenceUnit(net *model.Network, layer, unit int) {
	column := func(w []float64, columns int) {
		for r := 0; r < len(w)/columns; r++ {
			w[r*columns+unit] = 0
		}
	}
	l := net.Recurrent[layer]
	column(l.U, l.Units)
	if layer+1 < len(net.Recurrent) {
		column(net.Recurrent[layer+1].W, l.Units)
	} else {
		column(net.Dense[0].W, l.Units)
	}
}

// A unit that stays at 0 is replaced by its mean exactly: without weights and
// biases its candidate is 0, and so is its state.
func TestAConstantUnitIsFoldedExactlyInAnyKind(t *testing.T) {
	for i, kinds := range stacks {
		p, rec := stacked(uint64(i), kinds...)
		const fixed = 1
		l := p.Net.Recurrent[0]
		for g := range l.Kind.Gates() {
			r := g*l.Units + fixed
			for c := range l.Inputs {
				l.W[r*l.Inputs+c] = 0
			}
			for c := range l.Units {
				l.U[r*l.Units+c] = 0
			}
			l.B[r], l.D[r] = 0, 0
		}
		want := predictAll(p, rec)
		units := AllUnits(p.Net)
		units[0] = Without(5, fixed)
		got := predictAll(CutPredictor(p, Without(4), units, MeasureMeans(p, rec)), rec)
		for j := range want {
			if math.Abs(got[j]-want[j]) > 1e-12 {
				t.Fatalf("%v: output %d is %g, want %g", kinds, j, got[j], want[j])
			}
		}
	}
}

// In a reset-before GRU the recurrent rows of the candidate get the mean of state times reset gate.
// With gates that are constant in time that mean is known by hand.
func TestMeanOfStateTimesResetGate(t *testing.T) {
	p, rec := stacked(9, model.GRUResetBefore)
	l := p.Net.Recurrent[0]
	for r := range l.B {
		for c := range l.Inputs {
			l.W[r*l.Inputs+c] = 0
		}
		for c := range l.Units {
			l.U[r*l.Units+c] = 0
		}
		l.B[r], l.D[r] = 0, 0
	}
	l.B[2*l.Units] = 50 // candidate of unit 0 is 1, its gates are 1/2
	means := MeasureMeans(p, rec)
	// h after step k (from 1) is 1 - 2^-k; the reset gate 1/2 multiplies the state before the step.
	state, product := 0.0, 0.0
	h := 0.0
	for range 60 {
		product += h / 2
		h = 0.5 + h/2
		state += h
	}
	if math.Abs(means.Units[0][0]-state/60) > 1e-12 || math.Abs(means.Reset[0][0]-product/60) >
		1e-12 {
		t.Errorf("means %g and %g, want %g and %g", means.Units[0][0], means.Reset[0][0], state/60,
			product/60)
	}
}
