package budget

import (
	"math"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/quant"
)

func TestEveryScenarioIsDealtEvenly(t *testing.T) {
	deal := func(scenarios ...string) []int {
		rec := &dataset.Recordings{}
		for _, s := range scenarios {
			rec.Sequences = append(rec.Sequences, &dataset.Sequence{Scenario: s})
		}
		return dealt(rec)
	}
	if got := deal("a", "b", "a", "b", "a", "c"); !slices.Equal(got, []int{0, 0, 1, 1, 0, 0}) {
		t.Errorf("folds %v", got)
	}
	if got := deal("a", "b", "c"); !slices.Equal(got, []int{0, 1, 0}) {
		t.Errorf("scenarios of one sequence each: folds %v", got)
	}
	if got := deal("a"); !slices.Equal(got, []int{0}) {
		t.Errorf("a single sequence: fold %v", got)
	}
}

// A spike in one sequence is known to the calibration that judges the other
// fold, and not to the one that judges its own.
func TestAFoldIsJudgedWithoutIt(t *testing.T) {
	in := oneFineRow(t)
	const spike = 9
	in.Selection.Sequences[2].X[7] = spike // fold 0: every second of one scenario
	p, err := NewPlanner(in).prepare(t.Context(), in.Whole(quant.Formats{}))
	if err != nil {
		t.Fatal(err)
	}
	if p.calibration.Input != spike || p.restCalibrations[1].Input != spike ||
		!(p.restCalibrations[0].Input <= 1) {
		t.Errorf("largest inputs %g over all, %g and %g in the parts; want 9, at most 1 and 9",
			p.calibration.Input, p.restCalibrations[0].Input, p.restCalibrations[1].Input)
	}
}

// What is fitted to recordings is only compared where others can judge it.
func TestASingleSequenceFitsNothing(t *testing.T) {
	in := oneFineRow(t)
	in.Selection.Sequences = in.Selection.Sequences[:1]
	pl := NewPlanner(in)
	chosen, err := pl.try(t.Context(), in.Whole(quant.Uniform(in.Float.Net, 8, 16, 16)))
	if err != nil {
		t.Fatal(err)
	}
	if len(chosen.Roundings) != 2 || chosen.Candidate.Rounding.Fitted() {
		t.Errorf("%d ways compared, %s chosen", len(chosen.Roundings), chosen.Candidate.Rounding)
	}
}

// The way with the least distance is taken, and what is judged are the runs that
// gave it.
func TestTheNearestWayIsTaken(t *testing.T) {
	in := oneFineRow(t)
	pl := NewPlanner(in)
	chosen, err := pl.try(t.Context(), in.Whole(quant.Uniform(in.Float.Net, 8, 16, 16)))
	if err != nil {
		t.Fatal(err)
	}
	if len(chosen.Roundings) != len(quant.Roundings) {
		t.Fatalf("%d ways compared, there are %d", len(chosen.Roundings), len(quant.Roundings))
	}
	at := chosen.roundingIndex()
	for _, r := range chosen.Roundings {
		if r.Distance < chosen.Roundings[at].Distance {
			t.Errorf("%s is %g away, the chosen way %g", r.Rounding, r.Distance,
				chosen.Roundings[at].Distance)
		}
	}
	for _, row := range pl.SelectionLoss(chosen) {
		if tightest := chosen.Roundings[at].Tightest; row.Output == tightest.Output &&
			row.Scenario == tightest.Scenario && row.Fixed != tightest.Fixed {
			t.Errorf("%s: %g is shown, %g was judged", row.Text(), row.Fixed, tightest.Fixed)
		}
	}
}

// By hand: off by 1 on one of two steps and by 2 on the other in the first output,
// whose float network is off by 1; exact in the second. √(5/2) of 1.
func TestDistanceByHand(t *testing.T) {
	in := &Inputs{Float: &dataset.Float{},
		Selection: &dataset.Recordings{Outputs: 2, Sequences: []*dataset.Sequence{
			{Steps: 2, Y: []float64{0, 0, 0, 0}}, {Steps: 2, Y: []float64{5, 5, 5, 5}}}}}
	p := &prepared{outputs: [][]float64{{1, 3, -1, 3}, {7, 7, 7, 7}}}
	if got := in.distance(p, [][]float64{{2, 3, 1, 3}, nil}); math.Abs(got-math.Sqrt(2.5)) > 1e-15 {
		t.Errorf("distance %g, want %g", got, math.Sqrt(2.5))
	}
	in.Float.Classes = true // scores as they are: 1 + 4 over the 4 steps of all recordings
	if got := in.distance(p, [][]float64{{2, 3, 1, 3}, nil}); math.Abs(got-math.Sqrt(1.25)) >
		1e-15 {
		t.Errorf("classes: distance %g, want %g", got, math.Sqrt(1.25))
	}
}
