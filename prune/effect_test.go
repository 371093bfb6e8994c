package prune

import (
	"math"
	"slices"
	"testing"

	"kerf/dataset"
)

// handCase has features a, b and c with weights 1, 0.5 and 0, three sequences
// in two scenarios, and an output of two units per unit of the state.
func handCase() (*dataset.Float, *dataset.Recordings) {
	p := dataset.NewFloat(jumping(1, 0.5, 0),
		[]dataset.Feature{{Name: "a", Std: 1}, {Name: "b", Std: 1}, {Name: "c", Std: 1}},
		[]dataset.Output{{Name: "y", Mean: 7, Std: 2}})
	sequence := func(name, scenario string, x ...float64) *dataset.Sequence {
		return &dataset.Sequence{Name: name, Scenario: scenario, Steps: len(x) / 3, X: x, Y: make([]float64, len(x)/3)}
	}
	return p, &dataset.Recordings{Features: 3, Outputs: 1, Sequences: []*dataset.Sequence{
		sequence("0", "cold", 1, 0, 9, 2, 2, -9),
		sequence("1", "warm", 0, 4, 3),
		sequence("2", "cold", -1, 2, 5),
	}}
}

// The mean of a is (1+2+0-1)/4 = 0.5 and that of b (0+2+4+2)/4 = 2. The effect
// is the mean over the steps of a scenario of 2·|tanh(held) - tanh(whole)|.
func TestFeatureEffectsByHand(t *testing.T) {
	p, rec := handCase()
	means := MeasureMeans(p, rec)
	if !near(means.Features, []float64{0.5, 2, 2}) {
		t.Fatalf("means %v, want [0.5 2 2]", means.Features)
	}
	change := func(held, whole float64) float64 { return 2 * math.Abs(math.Tanh(held)-math.Tanh(whole)) }
	// Whole sums a + b/2: cold 1, 3, 0; warm 2.
	want := []Column{
		{Scenario: "cold", Output: "y", Values: []float64{
			(change(0.5, 1) + change(1.5, 3) + change(1.5, 0)) / 3,
			(change(2, 1) + change(3, 3) + change(0, 0)) / 3,
			0,
		}},
		{Scenario: "warm", Output: "y", Values: []float64{change(2.5, 2), change(1, 2), 0}},
	}
	got := FeatureEffects(p, means, rec)
	if !slices.Equal(got.Items, []string{"a", "b", "c"}) || len(got.Columns) != len(want) {
		t.Fatalf("items %v, %d columns", got.Items, len(got.Columns))
	}
	for i, w := range want {
		if g := got.Columns[i]; g.Scenario != w.Scenario || g.Output != w.Output || !near(g.Values, w.Values) {
			t.Errorf("column %d: %+v, want %+v", i, g, w)
		}
		if got.Columns[i].Values[2] != 0 {
			t.Errorf("a feature without weight has the effect %g", got.Columns[i].Values[2])
		}
	}
}

// The definition again, by other means: the held forward pass instead of a cut
// network, for features and for units.
func TestEffectsAreTheMeanChangeWithOneItemHeld(t *testing.T) {
	eachSeed(t, func(t *testing.T, p *dataset.Float, rec *dataset.Recordings, means Means) {
		check := func(got *Scores, items int, held func(f *heldForward, item int)) {
			t.Helper()
			if len(got.Items) != items || len(got.Columns) != 2*cutOutputs {
				t.Fatalf("%d items in %d columns, want %d in %d", len(got.Items), len(got.Columns), items, 2*cutOutputs)
			}
			for c, column := range got.Columns {
				if scenario, output := []string{"cold", "warm"}[c/cutOutputs], p.Outputs[c%cutOutputs]; column.Scenario != scenario || column.Output != output.Name {
					t.Fatalf("column %d is of %s and %s, want %s and %s", c, column.Scenario, column.Output, scenario, output.Name)
				}
				for item, effect := range column.Values {
					f := hold(p.Net)
					held(f, item)
					sum, steps := 0.0, 0
					for _, s := range rec.Sequences {
						if s.Scenario != column.Scenario {
							continue
						}
						x := normalised(p, s)
						with, without := hold(p.Net).run(x), f.run(x)
						for step := range s.Steps {
							i := step*cutOutputs + c%cutOutputs
							sum += math.Abs(with[i]-without[i]) * p.Outputs[c%cutOutputs].Std
						}
						steps += s.Steps
					}
					if want := sum / float64(steps); math.Abs(effect-want) > equal {
						t.Errorf("%s in %s, %s: effect %v, want %v", got.Items[item], column.Scenario, column.Output, effect, want)
					}
				}
			}
		}
		check(FeatureEffects(p, means, rec), cutFeatures, func(f *heldForward, i int) { f.features[i] = means.Features[i] })
		check(UnitEffects(p, means, rec), cutUnits, func(f *heldForward, j int) { f.units[j] = means.Units[0][j] })
	})
}
