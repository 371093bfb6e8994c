package prune

import (
	"math"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/portable"
)

// In a linear network without feedback the first order is all: the root mean square of weight times
// distance from the mean, for features and for units. Signs are drawn, 64 times per scenario at
// least, so figures come within five of their standard errors of 9 %.
func TestSalienciesOfALinearNetwork(t *testing.T) {
	const features = 3
	weights := []float64{2, 0.5, 0.1}
	layer := &model.Recurrent{Kind: model.ElmanReLU, Inputs: features, Units: features,
		W: make([]float64, features*features), U: make([]float64, features*features),
		B: make([]float64, features), D: make([]float64, features)}
	for j := range features {
		layer.W[j*features+j], layer.B[j] = 1, 30 // above any feature value
	}
	p := dataset.NewFloat(&model.Network{Recurrent: []*model.Recurrent{layer},
		Dense: []*model.Dense{{Inputs: features, Outputs: 1, W: weights, B: []float64{0}}}},
		[]dataset.Feature{{Name: "a", Std: 1}, {Name: "b", Std: 1}, {Name: "c", Std: 1}},
		[]dataset.Output{{Name: "y", Std: 4}})
	rec := randomRecordings(5, p)
	prepared := dataset.Prepare(p, rec, nil)
	ofFeatures, ofUnits, err := Saliencies(t.Context(), p, rec, prepared)
	if err != nil {
		t.Fatal(err)
	}
	means := MeasureMeans(p, rec)
	for c, column := range ofFeatures.Columns {
		squares, n := make([]float64, features), 0.0
		for _, s := range rec.Sequences {
			if s.Scenario != column.Scenario {
				continue
			}
			n += float64(s.Steps)
			for step := range s.Steps {
				for k := range features {
					d := s.X[step*features+k] - means.Features[k]
					squares[k] += d * d
				}
			}
		}
		for k, w := range weights {
			want := 4 * w * math.Sqrt(squares[k]/n)
			for what, got := range map[string]float64{"feature": column.Values[k],
				"unit": ofUnits.Columns[c].Values[k]} {
				if math.Abs(got-want) > 5*0.09*want {
					t.Errorf("%s %d in %s: %g, want %g", what, k, column.Scenario, got, want)
				}
			}
		}
	}
}

// The rankings of gradients and of measured effects agree on random networks: over kinds, whose
// five units each are ranked on 56 steps, the rank correlation is 0.7 on average.
func TestSalienciesRankAsEffectsDo(t *testing.T) {
	sum := 0.0
	for i, kinds := range stacks {
		p, rec := stacked(uint64(i), kinds...)
		for _, l := range p.Net.Recurrent {
			for k := range l.U {
				l.U[k] /= 2 // as drawn, the state of a ReLU grows without bound
			}
		}
		_, units, err := Saliencies(t.Context(), p, rec, dataset.Prepare(p, rec, nil))
		if err != nil {
			t.Fatal(err)
		}
		effects := must(UnitEffects(t.Context(), p, MeasureMeans(p, rec), rec))
		first, second := []float64{}, []float64{}
		for k, r := range units.Shares() {
			first, second = append(first, r.Share), append(second, effects.Shares()[k].Share)
		}
		c := portable.Correlation(ranks(first), ranks(second))
		t.Logf("%v: %.2f", kinds, c)
		sum += c
	}
	if mean := sum / float64(len(stacks)); mean < 0.7 {
		t.Errorf("the rankings agree by %.2f", mean)
	}
}
