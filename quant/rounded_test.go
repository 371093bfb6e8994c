package quant

import (
	"math"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// TestRoundedNetworkComputesTheSame: the float network of the rounded weights differs from the
// integer one by the rounding of state and tables alone.
func TestRoundedNetworkComputesTheSame(t *testing.T) {
	p := RandomFloat(41, 5, 6, 2)
	for _, activation := range []model.Activation{model.Identity, model.ReLU, model.Tanh,
		model.Logistic} {
		p.Net.Dense[0].Activation = activation
		rec := RandomRecordings(41, p, 2, 50)
		n, err := Quantize(p, Calibrate(p, rec), Uniform(p.Net, 8, 8, 32), Nearest)
		if err != nil {
			t.Fatal(err)
		}
		q := *p
		q.Net = n.Rounded()
		given, exact, rounded := make([]float64, 100), make([]float64, 100), make([]float64, 100)
		distance := func(a, b []float64) float64 {
			worst := 0.0
			for k := range a {
				worst = math.Max(worst, math.Abs(a[k]-b[k]))
			}
			return worst
		}
		for _, s := range rec.Sequences {
			p.Predict(s, given)
			n.Predict(s, exact)
			q.Predict(s, rounded)
			if by := distance(exact, rounded); !(by < 0.01 && by < distance(exact, given)/3) {
				t.Errorf("%v: integers differ by %g from the network of the rounded weights, by "+
					"%g from the given one", activation, by, distance(exact, given))
			}
		}
	}
}

// TestStateComesBackFromItsValues: a state that is written out and set again goes on with the same
// integers.
func TestStateComesBackFromItsValues(t *testing.T) {
	for _, kind := range []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM,
		model.ElmanTanh, model.ElmanReLU} {
		for _, bits := range []int{16, 32} {
			p := RandomFloat(42, 3, 4, 2)
			const units = 4
			rows := kind.Gates() * units
			values := func(n int) []float64 {
				return slices.Repeat([]float64{0.3, -0.2, 0.1, 0.4, -0.5}, n)[:n]
			}
			p.Net.Recurrent[0] = &model.Recurrent{Kind: kind, Inputs: 3, Units: units,
				W: values(3 * rows), U: values(units * rows), B: values(rows), D: values(rows)}
			rec := RandomRecordings(42, p, 1, 40)
			n, err := Quantize(p, Calibrate(p, rec), Uniform(p.Net, 8, 16, bits), Nearest)
			if err != nil {
				t.Fatal(err)
			}
			s, again := n.NewState(), n.NewState()
			x, y, z := make([]int32, 3), make([]int32, 2), make([]int32, 2)
			state, cell := make([]float64, units), make([]float64, units)
			for step := range 40 {
				n.Encode(rec.Sequences[0].X[3*step:3*step+3], x)
				n.Values(s, 0, state, cell)
				n.SetValues(again, 0, state, cell)
				n.Step(s, x, y)
				n.Step(again, x, z)
				if !slices.Equal(y, z) || !slices.Equal(s.Hidden(0), again.Hidden(0)) {
					t.Fatalf("%v, %d bits, step %d: %v goes on to %v, want %v", kind, bits, step,
						state, z, y)
				}
			}
		}
	}
}

func TestEncodeStepsIsEncodeStepByStep(t *testing.T) {
	p := RandomFloat(43, 4, 3, 1)
	p.Kept = []int{1, 3}
	p.Net.Recurrent[0] = &model.Recurrent{Kind: model.ElmanTanh, Inputs: 2, Units: 3,
		W: make([]float64, 6), U: make([]float64, 9), B: make([]float64, 3), D: make([]float64, 3)}
	rec := RandomRecordings(43, &dataset.Float{Features: p.Features, Outputs: p.Outputs}, 1, 5)
	n, err := Quantize(p, Calibrate(p, rec), Uniform(p.Net, 8, 16, 16), Nearest)
	if err != nil {
		t.Fatal(err)
	}
	x := rec.Sequences[0].X
	integers, values, one := make([]int32, 10), make([]float64, 10), make([]int32, 2)
	n.EncodeSteps(x, 4, integers, values)
	for step := range 5 {
		n.Encode(x[4*step:4*step+4], one)
		for i, want := range one {
			if integers[2*step+i] != want ||
				values[2*step+i] != math.Ldexp(float64(want), -n.InputFraction) {
				t.Errorf("step %d: %v stand for %v, want %v", step, integers[2*step:],
					values[2*step:], one)
			}
		}
	}
}
