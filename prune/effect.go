package prune

import (
	"math"

	"kerf/dataset"
)

// UnitEffects scores every hidden unit, in the order of [Units], by the effect of
// holding it at its mean: per scenario and output the mean absolute change of the
// output, in its unit.
func UnitEffects(p *dataset.Float, means Means, selection *dataset.Recordings) *Scores {
	features, units := count(p.Net.Inputs()), Units(p.Net)
	names := make([]string, len(units))
	for i, u := range units {
		names[i] = UnitName(p.Net, u)
	}
	scenarios := selection.Scenarios()
	scenarioOf := index(scenarios)
	outputs := dataset.OutputNames(p.Outputs)
	whole := make([][]float64, len(selection.Sequences))
	dataset.EachSequence(selection, func(i int, s *dataset.Sequence) {
		whole[i] = make([]float64, s.Steps*len(outputs))
		p.Predict(s, whole[i])
	})
	scores := &Scores{Items: names}
	for _, scenario := range scenarios {
		for _, output := range outputs {
			scores.Columns = append(scores.Columns, Column{Scenario: scenario, Output: output, Values: make([]float64, len(names))})
		}
	}
	steps := make([]int, len(scenarios))
	for _, s := range selection.Sequences {
		steps[scenarioOf[s.Scenario]] += s.Steps
	}
	for item := range names {
		kept, u := AllUnits(p.Net), units[item]
		kept[u.Layer] = Without(len(kept[u.Layer]), u.Index)
		reduced := CutPredictor(p, features, kept, means)
		changes := make([][]float64, len(selection.Sequences))
		dataset.EachSequence(selection, func(i int, s *dataset.Sequence) {
			changes[i] = absoluteChange(reduced, s, whole[i], len(outputs))
		})
		for i, s := range selection.Sequences {
			scenario := scenarioOf[s.Scenario]
			for o, change := range changes[i] {
				scores.Columns[scenario*len(outputs)+o].Values[item] += change / float64(steps[scenario])
			}
		}
	}
	return scores
}

// absoluteChange sums |prediction - whole| per output over a sequence.
func absoluteChange(p *dataset.Float, s *dataset.Sequence, whole []float64, outputs int) []float64 {
	got := make([]float64, len(whole))
	p.Predict(s, got)
	sums := make([]float64, outputs)
	for i := range got {
		sums[i%outputs] += math.Abs(got[i] - whole[i])
	}
	return sums
}
