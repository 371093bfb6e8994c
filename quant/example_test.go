package quant_test

import (
	"fmt"
	"slices"

	"kerf/dataset"
	"kerf/model"
	"kerf/prune"
	"kerf/quant"
)

// leakageNetwork is an invented network that reads three features of a hydraulic power unit and
// says how much its pump leaks (an example; no real machine).
func leakageNetwork() *dataset.Float {
	layer := &model.Recurrent{
		Kind: model.ElmanTanh, Inputs: 3, Units: 3,
		W: []float64{ // units × features
			0.6, -0.4, 0.02,
			0.3, 0.5, -0.01,
			0.1, 0.1, 0.3,
		},
		U: []float64{ // units × units
			0.5, 0.1, 0,
			-0.2, 0.4, 0,
			0, 0, 0.1,
		},
		B: []float64{0.1, -0.1, 0}, D: []float64{0, 0, 0},
	}
	head := &model.Dense{Inputs: 3, Outputs: 1, W: []float64{1.2, -0.7, 0.02}, B: []float64{0.1}}
	net := &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}}
	return dataset.NewFloat(net, []dataset.Feature{
		{Name: "supply_level", Unit: "bar", Mean: 120, Std: 30},
		{Name: "return_level", Unit: "bar", Mean: 4, Std: 1},
		{Name: "oil_temperature", Unit: "degC", Mean: 45, Std: 10},
	}, []dataset.Output{{Name: "leakage", Unit: "L/min", Mean: 1.5, Std: 0.5}})
}

// selectionRecordings are invented too: pressure ramps of several lengths while the oil warms up.
func selectionRecordings() *dataset.Recordings {
	rec := &dataset.Recordings{Features: 3, Outputs: 1}
	for _, period := range []int{7, 10, 16, 25} {
		s := &dataset.Sequence{Scenario: "splitting", Steps: 100}
		for step := range s.Steps {
			ramp := float64(step%period) / float64(period-1)
			s.X = append(s.X, 80+80*ramp, 5-2*ramp, 40+0.1*float64(step))
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// A trained network loses a feature and a unit, is brought to fixed point with int8 weights and a
// 16-bit state, and runs one step with integers only.
func Example() {
	whole, selection := leakageNetwork(), selectionRecordings()

	// Cut: the first two features and units stay and stand in for what goes.
	small := prune.MeasureStatistics(whole, selection).Cut([]int{0, 1}, [][]int{{0, 1}},
		prune.Refit)

	// Quantize: ranges from recordings, word widths, fraction bits.
	ranges := quant.Calibrate(small, selection)
	fixed, err := quant.Quantize(small, ranges, quant.Uniform(small.Net, 8, 16, 16),
		quant.Compensated)
	if err != nil {
		fmt.Println(err)
		return
	}
	shape := fixed.Shape()
	fmt.Printf("%d B of weights, %d B of state\n", shape.WeightBytes(), shape.StateBytes())
	for _, m := range fixed.Matrices() {
		fmt.Printf("%s: fraction bits %d, int32 accumulators filled to %.1f %% at most\n", m.Name,
			m.Fraction, 100*float64(slices.Max(m.Bound))/quant.AccumulatorLimit)
	}

	// Step: integers in, integers out.
	recorded := []float64{150, 3.5, 45}
	state := fixed.NewState()
	x, y := make([]int32, len(fixed.Features)), make([]int32, len(fixed.Outputs))
	fixed.Encode(recorded, x)
	fixed.Step(state, x, y)
	leakage := make([]float64, len(y))
	fixed.Decode(y, leakage)
	float := make([]float64, 1)
	whole.Predict(&dataset.Sequence{Steps: 1, X: recorded}, float)
	fmt.Printf("%d -> %d / 2^%d = %.3f L/min, the network as given says %.3f L/min\n", x, y,
		fixed.OutputFraction(0), leakage[0], float[0])

	// Output:
	// 92 B of weights, 4 B of state
	// layer.weight_ih: fraction bits [7 7], int32 accumulators filled to 0.2 % at most
	// layer.weight_hh: fraction bits [7 8], int32 accumulators filled to 0.2 % at most
	// head.weight: fraction bits [14], int32 accumulators filled to 62.5 % at most
	// [16384 -8192] -> [1072941757] / 2^29 = 1.999 L/min, the network as given says 1.998 L/min
}
