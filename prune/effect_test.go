package prune

import (
	"math"
	"testing"

	"kerf/dataset"
)

// effectError is how far an effect may be off: float32 costs an output at most 1e-5 standard deviations (model/lanes,
// TestStepAgainstModel), of which an output here has up to 1.5 units.
const effectError = 1.5e-5

// The definition, by other means: the held forward pass instead of a cut network.
func TestEffectsAreTheMeanChangeWithOneUnitHeld(t *testing.T) {
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
					if want := sum / float64(steps); math.Abs(effect-want) > effectError {
						t.Errorf("%s in %s, %s: effect %v, want %v", got.Items[item], column.Scenario, column.Output, effect, want)
					}
				}
			}
		}
		check(UnitEffects(p, means, rec), cutUnits, func(f *heldForward, j int) { f.units[j] = means.Units[0][j] })
	})
}
