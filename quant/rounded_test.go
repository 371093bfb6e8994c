package quant

import (
	"math"
	"slices"
	"testing"

	"kerf/model"
	"kerf/model/lanes"
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

// TestTapeComputesWhatIntegersDo compares outputs of the integer network with those of a tape that
// rounds as it does. What is left are the roundings that a tape does not do: of sums, gates and
// tables, at 12 to 16 fraction bits.
func TestTapeComputesWhatIntegersDo(t *testing.T) {
	const steps, units = 40, 4
	for _, kind := range []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM,
		model.ElmanTanh, model.ElmanReLU} {
		for _, bits := range []int{16, 32} {
			p := RandomFloat(42, 3, units, 2)
			rows := kind.Gates() * units
			values := func(n int) []float64 {
				return slices.Repeat([]float64{0.3, -0.2, 0.1, 0.4, -0.5}, n)[:n]
			}
			p.Net.Recurrent[0] = &model.Recurrent{Kind: kind, Inputs: 3, Units: units,
				W: values(3 * rows), U: values(units * rows), B: values(rows), D: values(rows)}
			p.Net.Dense = []*model.Dense{
				{Inputs: units, Outputs: 3, W: values(3 * units), B: values(3),
					Activation: model.Tanh},
				{Inputs: 3, Outputs: 2, W: values(6), B: values(2)}}
			rec := RandomRecordings(42, p, 1, steps)
			n, err := Quantize(p, Calibrate(p, rec), Uniform(p.Net, 8, 16, bits), Nearest)
			if err != nil {
				t.Fatal(err)
			}
			tape, x := lanes.NewTape(p.Net, steps), make([]int32, 3)
			n.Onto(tape)
			s := rec.Sequences[0]
			for step := range steps {
				row := s.X[3*step : 3*step+3]
				for i, k := range p.Kept {
					f := p.Features[k]
					tape.Input(step)[i*lanes.Width] = float32((row[k] - f.Mean) / f.Std)
				}
			}
			tape.Forward(steps)
			y := make([]float64, 2*steps)
			n.Predict(s, y)
			for step := range steps {
				n.Encode(s.X[3*step:3*step+3], x)
				for i, v := range x {
					if got := tape.Input(step)[i*lanes.Width]; float64(got) !=
						float64(v)/scale(n.InputFraction) {
						t.Errorf("%v: input %d is %v, want %d / 2^%d", kind, i, got, v,
							n.InputFraction)
					}
				}
				for o, out := range p.Outputs {
					got := float64(float64(tape.Output(step)[o*lanes.Width])*out.Std) + out.Mean
					if want := y[2*step+o]; math.Abs(got-want) > 0.002*out.Std {
						t.Errorf("%v, %d bits, step %d: output %d is %v, want %v", kind, bits,
							step, o, got, want)
					}
				}
			}
		}
	}
}
