package prune_test

import (
	"context"
	"fmt"
	"math"

	"kerf/dataset"
	"kerf/model"
	"kerf/prune"
)

// airNetwork is an invented network that reads three features of a hydraulic power unit and says
// how much air its oil holds (an example; no real machine).
func airNetwork() *dataset.Float {
	layer := &model.Recurrent{
		Kind: model.ElmanTanh, Inputs: 3, Units: 2,
		W: []float64{ // units × features
			0.7, 0.2, 0.1,
			-0.4, 0.3, -0.1,
		},
		U: []float64{ // units × units
			0.6, 0,
			0, 0.2,
		},
		B: []float64{0, 0.1}, D: []float64{0, 0},
	}
	head := &model.Dense{Inputs: 2, Outputs: 1, W: []float64{1, 0.3}, B: []float64{0}}
	net := &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}}
	return dataset.NewFloat(net, []dataset.Feature{
		{Name: "supply_ripple_amplitude", Unit: "bar", Mean: 1.6, Std: 0.8},
		{Name: "return_level", Unit: "bar", Mean: 2, Std: 1},
		{Name: "supply_second_harmonic", Unit: "bar", Mean: 0.4, Std: 0.2},
	}, []dataset.Output{{Name: "air", Unit: "% by volume", Mean: 3, Std: 2}})
}

// selectionRecordings are invented too: ripple and return level rise and fall at rhythms of their
// own, and the second harmonic follows the ripple but for a small part.
func selectionRecordings() *dataset.Recordings {
	rec := &dataset.Recordings{Features: 3, Outputs: 1}
	for i := range 4 {
		s := &dataset.Sequence{Scenario: "steady splitting", Steps: 60}
		for step := range s.Steps {
			ripple, level := 0.8*float64(step/(7-i)%3), float64(step/(4+i)%3)
			own := 0.02 * float64(step%5-2)
			s.X = append(s.X, 0.8+ripple, 1+level, 0.2+0.25*ripple+own)
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// Features are ranked by their share of the output, the least needed one is cut out of the network,
// and the loss is compared with that of holding it at its mean.
func Example() {
	whole, selection := airNetwork(), selectionRecordings()

	values, err := prune.FeatureValues(context.Background(), whole, selection, prune.Settings{})
	if err != nil {
		fmt.Println(err)
		return
	}
	ranking := values.Ranking()
	for _, r := range ranking {
		fmt.Printf("%s: %.1f %%\n", r.Name, 100*r.Share)
	}

	kept := prune.Without(len(whole.Features), ranking[0].Item)
	statistics := prune.MeasureStatistics(whole, selection)
	for _, method := range prune.Methods {
		small := statistics.Cut(kept, prune.AllUnits(whole.Net), method)
		fmt.Printf("%d of %d weights, %s: %.3f %% by volume off\n", small.Net.Parameters(),
			whole.Net.Parameters(), method, difference(whole, small, selection))
	}

	// Output:
	// supply_second_harmonic: 5.0 %
	// return_level: 27.0 %
	// supply_ripple_amplitude: 67.9 %
	// 15 of 17 weights, mean folding: 0.067 % by volume off
	// 15 of 17 weights, reconstruction: 0.013 % by volume off
	// 15 of 17 weights, with refit: 0.013 % by volume off
}

// difference is the root mean square of the difference between two networks, in the unit of the
// output.
func difference(a, b *dataset.Float, rec *dataset.Recordings) float64 {
	sum := 0.0
	for _, s := range rec.Sequences {
		x, y := make([]float64, s.Steps), make([]float64, s.Steps)
		a.Predict(s, x)
		b.Predict(s, y)
		for step := range x {
			sum += (x[step] - y[step]) * (x[step] - y[step])
		}
	}
	return math.Sqrt(sum / float64(rec.Steps()))
}
