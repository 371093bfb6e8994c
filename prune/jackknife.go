package prune

import (
	"math"

	"kerf/dataset"
)

// sequenceScore has the mean magnitudes of the values over the steps of one sequence, per player
// and output.
type sequenceScore struct {
	mean       []float64   // [items]
	deviations [][]float64 // how far each round moves the means [rounds][items], see [Scores]
}

// summary takes the values of every round [rounds][steps × items] and returns their mean magnitudes
// over the steps. Rounds stand stratum by stratum, equally many in each; they are independent
// within a stratum, and strata weigh alike.
//
// The magnitude of a noisy mean is too large. The jackknife (Efron and Tibshirani 1993, chapter
// 11), with one round left out at a time, takes that bias off and gives the variance. undrawn is
// the share of both that is left where the n rounds are drawn from N without replacement: 1 - n/N,
// the share that is not drawn (Cochran 1977, section 2.6); with replacement it is 1.
func summary(rounds [][]float64, items, strata int, undrawn float64) sequenceScore {
	p := sequenceScore{mean: make([]float64, items), deviations: make([][]float64, len(rounds))}
	for i := range rounds {
		p.deviations[i] = make([]float64, items)
	}
	steps := len(rounds[0]) / items
	size := len(rounds) / strata
	n := float64(size)
	without := make([]float64, len(rounds))
	for item := range items {
		clear(without)
		all := 0.0
		sums := make([]float64, strata)
		for step := range steps {
			mean := 0.0
			for h := range sums {
				sums[h] = 0
				for _, values := range rounds[h*size : (h+1)*size] {
					sums[h] += values[step*items+item]
				}
				mean += sums[h] / n / float64(strata)
			}
			all += math.Abs(mean)
			if size > 1 {
				for i, values := range rounds {
					moved := (sums[i/size]/n - values[step*items+item]) / (n - 1)
					without[i] += math.Abs(mean + moved/float64(strata))
				}
			}
		}
		all /= float64(steps)
		p.mean[item] = all
		if size == 1 || undrawn == 0 {
			continue
		}
		scale := math.Sqrt(undrawn * (n - 1) / n)
		for h := range strata {
			average := 0.0
			for i := h * size; i < (h+1)*size; i++ {
				without[i] /= float64(steps)
				average += without[i] / n
			}
			p.mean[item] -= float64(undrawn * (n - 1) * (average - all))
			for i := h * size; i < (h+1)*size; i++ {
				p.deviations[i][item] = scale * (without[i] - average)
			}
		}
		p.mean[item] = max(0, p.mean[item])
	}
	return p
}

// scores averages over the steps of every scenario. Sequences draw independently, so their
// deviations stand one after the other.
func (g *game) scores(selection *dataset.Recordings, parts []sequenceScore) *Scores {
	s := &Scores{Items: g.names}
	for _, scenario := range selection.Scenarios() {
		steps := 0
		for _, sequence := range selection.Sequences {
			if sequence.Scenario == scenario {
				steps += sequence.Steps
			}
		}
		for o, output := range g.p.Outputs {
			values := make([]float64, len(g.names))
			var deviations [][]float64
			for i, sequence := range selection.Sequences {
				if sequence.Scenario != scenario {
					continue
				}
				share := float64(sequence.Steps) / float64(steps)
				weighted := func(all []float64) []float64 {
					part := make([]float64, len(g.names))
					for k := range part {
						part[k] = float64(share * all[k*len(g.p.Outputs)+o])
					}
					return part
				}
				for k, v := range weighted(parts[i].mean) {
					values[k] += v
				}
				for _, d := range parts[i].deviations {
					deviations = append(deviations, weighted(d))
				}
			}
			s.Columns = append(s.Columns, Column{scenario, output.Name, values})
			s.Deviations = append(s.Deviations, deviations)
		}
	}
	return s
}
