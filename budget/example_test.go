package budget_test

import (
	"context"
	"fmt"
	"math/rand/v2"

	"kerf/budget"
	"kerf/dataset"
	"kerf/model"
	"kerf/targets"
)

// leakageInputs are what [budget.Load] would read of an invented job: a network that says how much
// the pump of a hydraulic power unit leaks, recordings of some strokes, a tolerance, and a target
// (an example; no real machine).
func leakageInputs() *budget.Inputs {
	layer := &model.Recurrent{
		Kind: model.ElmanTanh, Inputs: 3, Units: 3,
		W: []float64{ // units × features
			0.6, -0.4, 0.001,
			0.3, 0.5, -0.001,
			0.1, 0.1, 0.3,
		},
		U: []float64{ // units × units
			0.5, 0.1, 0,
			-0.2, 0.4, 0,
			0, 0, 0.1,
		},
		B: []float64{0.1, -0.1, 0}, D: []float64{0, 0, 0},
	}
	head := &model.Dense{Inputs: 3, Outputs: 1, W: []float64{1.2, -0.7, 0.001}, B: []float64{0.1}}
	net := &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}}
	float := dataset.NewFloat(net, []dataset.Feature{
		{Name: "supply_level", Unit: "bar", Mean: 120, Std: 30},
		{Name: "return_level", Unit: "bar", Mean: 4, Std: 1},
		{Name: "oil_temperature", Unit: "degC", Mean: 45, Std: 10},
	}, []dataset.Output{{Name: "leakage", Unit: "L/min", Mean: 1.5, Std: 0.5}})
	core, err := targets.Load("cortex-m4f")
	if err != nil {
		panic(err) // it is built in
	}
	flash := budget.Bytes(4096)
	rule := budget.TargetRule{Name: "controller", Profile: "cortex-m4f", Clock: 64e6, Flash: &flash}
	return &budget.Inputs{
		Job: &budget.Job{Name: "leakage", Targets: []budget.TargetRule{rule},
			Tolerances: map[string]budget.Tolerance{
				"leakage": {Figures: budget.Figures{RMSERise: &budget.Share{Value: 0.05}}},
			}},
		Float: float, Selection: strokes(float, 1), Signoff: strokes(float, 2),
		Targets: []budget.Target{{TargetRule: rule, Core: core}},
	}
}

// strokes are invented recordings: levels jump at random while the oil warms up, and what is
// measured differs from what the network says by noise.
func strokes(float *dataset.Float, seed uint64) *dataset.Recordings {
	random := rand.New(rand.NewPCG(seed, 0))
	rec := &dataset.Recordings{Features: 3, Outputs: 1}
	for i := range 6 {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "splitting", Steps: 120,
			Y: make([]float64, 120)}
		for step := range s.Steps {
			s.X = append(s.X, 120+30*random.NormFloat64(), 4+random.NormFloat64(),
				40+0.1*float64(step))
		}
		float.Predict(s, s.Y)
		for k := range s.Y {
			s.Y[k] += 0.2 * random.NormFloat64()
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// A plan finds a cut, chooses the words, and has both judged on recordings that no choice has seen.
func Example() {
	ctx, in := context.Background(), leakageInputs()
	pl := budget.NewPlanner(in)
	cut, err := pl.FindCut(ctx, func(tried int) {})
	if err != nil {
		fmt.Println(err)
		return
	}
	chosen, err := pl.Choose(ctx, cut)
	if err != nil {
		fmt.Println(err)
		return
	}
	result, err := pl.Assess(ctx, cut, chosen)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("without %v and the units %v, %s\n", in.DroppedFeatures(chosen.Candidate),
		in.DroppedUnits(chosen.Candidate), chosen.Candidate.Formats)
	for _, l := range result.Loss {
		if l.Judged {
			fmt.Printf("%s: %s\n", l.Text(), l.Verdict)
		}
	}
	fmt.Println(result.Verdict)

	// Output:
	// without [oil_temperature] and the units [2], int16 weights with int16 state, int16 head
	// leakage/all/rmse: pass
	// leakage/splitting/rmse: pass
	// fits
}
