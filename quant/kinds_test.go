package quant

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// layered is a float network of the given layers with moderate weights.
func layered(seed uint64, kinds []model.Kind, activations []model.Activation) *dataset.Float {
	random := rand.New(rand.NewPCG(seed, 7))
	values := func(n int, size float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = random.NormFloat64() * size
		}
		return v
	}
	net := &model.Network{}
	in := 6
	for _, k := range kinds {
		const units = 9
		rows := k.Gates() * units
		net.Recurrent = append(net.Recurrent, &model.Recurrent{Kind: k, Inputs: in, Units: units,
			W: values(rows*in, 0.4), U: values(rows*units, 0.15), B: values(rows, 0.3),
			D: values(rows, 0.3)})
		in = units
	}
	for i, a := range activations {
		out := 5
		if i == len(activations)-1 {
			out = 2
		}
		net.Dense = append(net.Dense, &model.Dense{Inputs: in, Outputs: out, Activation: a,
			W: values(out*in, 0.4), B: values(out, 0.3)})
		in = out
	}
	var features []dataset.Feature
	for i := range 6 {
		features = append(features, dataset.Feature{Name: fmt.Sprint("f", i), Mean: 1, Std: 2})
	}
	outputs := []dataset.Output{{Name: "a", Mean: 3, Std: 2}, {Name: "b", Mean: -10, Std: 0.5}}
	return dataset.NewFloat(net, features, outputs)
}

// everyStack lists each cell alone, each activation, and mixed stacks.
func everyStack() (all []struct {
	Kinds       []model.Kind
	Activations []model.Activation
}) {
	add := func(kinds []model.Kind, activations ...model.Activation) {
		all = append(all, struct {
			Kinds       []model.Kind
			Activations []model.Activation
		}{kinds, activations})
	}
	for k := model.GRUResetAfter; k <= model.ElmanReLU; k++ {
		add([]model.Kind{k}, model.Identity)
	}
	for a := model.ReLU; a <= model.Logistic; a++ {
		add([]model.Kind{model.GRUResetAfter}, a)
		add([]model.Kind{model.LSTM}, a, model.Identity)
	}
	add([]model.Kind{model.LSTM, model.GRUResetBefore, model.GRUResetAfter}, model.ReLU,
		model.Identity)
	add([]model.Kind{model.ElmanReLU, model.ElmanTanh}, model.Tanh, model.Logistic)
	return all
}

// kindsAgreement is how far int16 weights may be from float, in standard
// deviations of an output; the worst seen is 0.0008, rounded up.
const kindsAgreement = 0.001

// Every kind of layer in fixed point follows the float network, whose forward
// pass has outside checks of its own (package model).
func TestEveryKindFollowsFloat(t *testing.T) {
	worst := 0.0
	for i, n := range everyStack() {
		for _, state := range []int{16, 32} {
			p := layered(uint64(i), n.Kinds, n.Activations)
			rec := RandomRecordings(uint64(i), p, 1, 200)
			fixed, err := Quantize(p, Calibrate(p, rec), Uniform(p.Net, 16, 16, state), Nearest)
			if err != nil {
				t.Fatal(err)
			}
			want, got := make([]float64, 400), make([]float64, 400)
			p.Predict(rec.Sequences[0], want)
			fixed.Predict(rec.Sequences[0], got)
			for j := range want {
				off := math.Abs(got[j]-want[j]) / p.Outputs[j%2].Std
				worst = math.Max(worst, off)
				if off > kindsAgreement {
					t.Fatalf("%v %v, int%d state, step %d, output %d: fixed %g, float %g, off "+
						"by %.2g std", n.Kinds, n.Activations, state, j/2, j%2, got[j], want[j],
						off)
				}
			}
			if shape := fixed.Shape(); shape.WeightBytes() <= 0 || shape.MultiplyAccumulates() <=
				0 {
				t.Errorf("%v: shape %+v", n.Kinds, shape)
			}
		}
	}
	t.Logf("worst difference %.2g std", worst)
}

// An LSTM cell that grows without end saturates, is counted, and does not wrap.
func TestCellSaturates(t *testing.T) {
	for _, state := range []int{16, 32} {
		p := layered(3, []model.Kind{model.LSTM}, []model.Activation{model.Identity})
		l := p.Net.Recurrent[0]
		for j := range l.Units {
			l.B[j], l.B[l.Units+j], l.B[2*l.Units+j] = 20, 20, 20 // add all, keep all, candidate 1
		}
		rec := RandomRecordings(3, p, 1, 5)
		c := Calibrate(p, rec) // five steps: the cell is at 5 at most
		long := RandomRecordings(3, p, 1, 5000)
		fixed, err := Quantize(p, c, Uniform(p.Net, 16, 16, state), Nearest)
		if err != nil {
			t.Fatal(err)
		}
		counts := fixed.Count(long)
		if counts.Layers[0].Cells == 0 {
			t.Errorf("int%d: no saturated cell counted", state)
		}
		got := make([]float64, 10000)
		fixed.Predict(long.Sequences[0], got)
		for _, v := range got[9000:] {
			if math.IsNaN(v) || math.Abs(v) > 100 {
				t.Fatalf("int%d: output %g after the cell saturated", state, v)
			}
		}
	}
}

// narrowInput drops the last inputs of a layer.
func narrowInput(l *model.Recurrent, inputs int) {
	var w []float64
	for row := range l.Kind.Gates() * l.Units {
		w = append(w, l.W[row*l.Inputs:row*l.Inputs+inputs]...)
	}
	l.W, l.Inputs = w, inputs
}
