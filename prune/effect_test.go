package prune

import (
	"math"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// effectError is how far an effect may be off: float32 costs an output at most 1e-5 standard
// deviations (model/lanes, TestStepAgainstModel), of which an output here has up to 1.5 units.
const effectError = 1.5e-5

// Effects follow their definition, computed by other means: a forward pass with a held unit,
// instead of a cut network.
func TestEffectsAreTheMeanChangeWithOneUnitHeld(t *testing.T) {
	eachSeed(t, func(t *testing.T, p *dataset.Float, rec *dataset.Recordings, means Means) {
		check := func(got *Scores, items int, held func(f *heldForward, item int)) {
			t.Helper()
			if len(got.Items) != items || len(got.Columns) != 2*cutOutputs {
				t.Fatalf("%d items in %d columns, want %d in %d", len(got.Items), len(got.Columns),
					items, 2*cutOutputs)
			}
			for c, column := range got.Columns {
				if scenario, output := []string{"cold", "warm"}[c/cutOutputs],
					p.Outputs[c%cutOutputs]; column.Scenario != scenario ||
					column.Output != output.Name {
					t.Fatalf("column %d is of %s and %s, want %s and %s", c, column.Scenario,
						column.Output, scenario, output.Name)
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
					if want := sum / float64(steps); math.Abs(effect-want) > effectError {
						t.Errorf("%s in %s, %s: effect %v, want %v", got.Items[item],
							column.Scenario, column.Output, effect, want)
					}
				}
			}
		}
		check(must(UnitEffects(t.Context(), p, means, rec)), cutUnits, func(f *heldForward, j int) {
			f.units[j] = means.Units[0][j]
		})
	})
}

// With the only unit of a layer held at its mean, every layer behind it runs on constants.
func TestEffectOfTheOnlyUnitOfALayer(t *testing.T) {
	for i, kinds := range [][]model.Kind{
		{model.GRUResetAfter}, {model.GRUResetBefore}, {model.LSTM}, {model.ElmanTanh},
		{model.ElmanReLU},
		{model.GRUResetAfter, model.GRUResetAfter}, {model.LSTM, model.GRUResetBefore},
		{model.ElmanReLU, model.LSTM},
	} {
		p, rec := stacked(uint64(i), kinds...)
		means := MeasureMeans(p, rec)
		one := CutPredictor(p, []int{2}, slices.Repeat([][]int{{1}}, len(kinds)), means)
		for _, s := range rec.Sequences {
			var x []float64
			for step := range s.Steps {
				x = append(x, s.X[4*step+2])
			}
			s.X = x
		}
		rec.Features = 1
		p = dataset.NewFloat(one.Net, p.Features[2:3], p.Outputs)
		means = MeasureMeans(p, rec)
		scores := must(UnitEffects(t.Context(), p, means, rec))
		for l := range kinds {
			want := make([]float64, 2)
			for _, s := range rec.Sequences {
				whole := predict(p, s, 2)
				behind := (&model.Network{Recurrent: p.Net.Recurrent[l+1:],
					Dense: p.Net.Dense}).NewRun()
				for step := range s.Steps {
					y := make([]float64, 2)
					if l+1 == len(kinds) {
						behind.Finish(means.Units[l], y)
					} else {
						behind.Step(means.Units[l], y)
					}
					for o := range y {
						want[o] += math.Abs(y[o]-whole[2*step+o]) / float64(rec.Steps())
					}
				}
			}
			for o, column := range scores.Columns {
				if math.Abs(column.Values[l]-want[o]) > effectError {
					t.Errorf("%v, layer %d, output %d: effect %g, want %g", kinds, l, o,
						column.Values[l], want[o])
				}
			}
		}
	}
}
