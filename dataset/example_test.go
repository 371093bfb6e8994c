package dataset_test

import (
	"fmt"
	"strings"

	"kerf/dataset"
)

// proportional predicts the internal leakage of a pump (L/min) as a multiple of the pressure in its
// case drain (bar).
type proportional float64

func (p proportional) Predict(s *dataset.Sequence, dst []float64) {
	for step, pressure := range s.X {
		dst[step] = float64(p) * pressure
	}
}

// recorded makes six sequences of one feature and one output, with a leakage that is not quite
// proportional to the pressure.
func recorded() *dataset.Recordings {
	rec := &dataset.Recordings{Features: 1, Outputs: 1}
	for i := range 6 {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "steady splitting", Steps: 4}
		for step := range s.Steps {
			pressure := 1 + 0.25*float64(step)
			noise := 0.2 - 0.1*float64((i+step)%5)
			s.X = append(s.X, pressure)
			s.Y = append(s.Y, 2*pressure+noise)
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// Measure runs a predictor over recordings; Compare says how much larger the error of another
// predictor is on the same steps, and how far that could be off.
func Example() {
	rec := recorded()
	base := dataset.Measure(proportional(2), rec, nil)
	other := dataset.Measure(proportional(2.05), rec, nil)

	everywhere := dataset.Slice{Output: 0, Region: -1}
	c := dataset.Compare(base, other, everywhere, dataset.RMSE)
	fmt.Printf("RMSE %.3f L/min, other %.3f L/min on %d steps of %d sequences\n",
		c.Base, c.Other, c.Steps, c.Sequences)
	fmt.Printf("rise %.1f %%, 95 %% interval %.1f to %.1f %%\n",
		100*c.Rise, 100*c.RiseLow, 100*c.RiseHigh)
	// Output:
	// RMSE 0.138 L/min, other 0.153 L/min on 24 steps of 6 sequences
	// rise 10.6 %, 95 % interval -4.7 to 35.7 %
}

// A region limits a figure to a part of the output space, here to leakage from 3 L/min on.
func ExampleRegion() {
	from := 3.0
	rec := recorded()
	regions := []dataset.Region{
		{Name: "high", Conditions: []dataset.Condition{{Output: 0, Min: &from}}},
	}
	score := dataset.Measure(proportional(2.2), rec, regions)

	fmt.Println(regions[0].Describe([]string{"leakage"}))
	for _, slice := range []dataset.Slice{{Region: -1}, {Region: 0}} {
		fmt.Printf("RMSE %.3f L/min in %d sequences\n",
			score.Value(nil, slice, dataset.RMSE), score.Sequences(slice))
	}
	// Output:
	// leakage at least 3
	// RMSE 0.309 L/min in 6 sequences
	// RMSE 0.338 L/min in 6 sequences
}

// Names, units and normalisation of the features come from features.csv; the recording carries one
// column per feature and output.
func ExampleReadCSV() {
	features, err := dataset.ReadFeatures(strings.NewReader(
		"name,channel,kind,unit,mean,std\ndrain_level,case drain,level,bar,1.5,0.4\n"),
		"features.csv")
	if err != nil {
		fmt.Println(err)
		return
	}
	const recording = `sequence,scenario,t,drain_level,leakage
0,warm-up,0.0,1.2,2.3
0,warm-up,0.1,1.3,2.7
1,fast cycling,0.0,one,3.1
`
	_, err = dataset.ReadCSV(strings.NewReader(recording), "day.csv",
		dataset.FeatureNames(features), dataset.Reference{Outputs: []string{"leakage"}})
	fmt.Println(err)
	// Output:
	// day.csv:4: column drain_level: "one" is not a number
}
