package prune

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"kerf/dataset"
)

// standardErrors returns the standard errors of the values of a column.
func standardErrors(s *Scores, column int) []float64 {
	errors := make([]float64, len(s.Items))
	for _, d := range s.Deviations[column] {
		for i, v := range d {
			errors[i] = math.Hypot(errors[i], v)
		}
	}
	return errors
}

// ranked returns an item with its share in one column.
func ranked(c Column, item int) Ranked {
	return Ranked{item, "", c.Values[item] / c.Total(), c.Scenario, c.Output}
}

// driftingRecordings returns recordings whose features stay off their mean by another amount in
// every sequence, so that scores depend on the background.
func driftingRecordings(p *dataset.Float, sequences int) *dataset.Recordings {
	random := rand.New(rand.NewPCG(3, uint64(sequences)))
	rec := &dataset.Recordings{Features: len(p.Features), Outputs: len(p.Outputs)}
	for i := range sequences {
		scenario := []string{"cold", "warm"}[i%2]
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: scenario, Steps: 20 + i%7}
		drift := make([]float64, len(p.Features))
		for k := range drift {
			drift[k] = random.NormFloat64()
		}
		for range s.Steps {
			for k, f := range p.Features {
				s.X = append(s.X, f.Mean+f.Std*(drift[k]+0.5*random.NormFloat64()))
			}
		}
		s.Y = make([]float64, s.Steps*len(p.Outputs))
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// Shares scatter between seeds by as much as their standard error says: 5 features, all subsets
// against 8 backgrounds of 39 and of 11; 8 pairs of permutations that draw 16 of 39; two pairs
// against each of 11. Over 40 seeds a standard deviation is uncertain by 1/√78 = 11 %, and
// first-order errors from 8 rounds are somewhat small; so the ratio may be 0.6 to 1.6. The values
// from all subsets against all others lie within two standard errors in 95 % of the cases, if
// errors were normal and known.
func TestStandardErrorsAreWhatSeedsScatter(t *testing.T) {
	const seeds = 40
	p := randomPredictor(4, 5, 6, 2)
	g := featureGame(p, dataset.FeatureNames(p.Features))
	for _, c := range []struct {
		plan
		sequences int
	}{{plan{0, 8}, 40}, {plan{0, 8}, 12}, {plan{8, 16}, 40}, {plan{22, 11}, 12}} {
		plan := c.plan
		rec := driftingRecordings(p, c.sequences)
		truth := must(g.playAll(t.Context(), rec, Settings{}, planFor(5, 1e6, c.sequences-1)))
		type scatter struct{ sum, squares, variance float64 }
		found := make([]scatter, len(truth.Columns)*5)
		cases, within := 0, 0
		for seed := range uint64(seeds) {
			v := must(g.playAll(t.Context(), rec, Settings{Seed: seed}, plan))
			for c, column := range v.Columns {
				errors := standardErrors(v.Scores, c)
				for i, value := range column.Values {
					r := ranked(column, i)
					e := v.ShareError(r)
					s := &found[c*5+i]
					s.sum += r.Share
					s.squares += r.Share * r.Share
					s.variance += e * e
					cases++
					if math.Abs(value-truth.Columns[c].Values[i]) < 2*errors[i] {
						within++
					}
				}
			}
		}
		for k, s := range found {
			deviation := math.Sqrt((s.squares - s.sum*s.sum/seeds) / (seeds - 1))
			stated := math.Sqrt(s.variance / seeds)
			share := s.sum / seeds
			what := fmt.Sprintf("%+v, column %d, feature %d: share %.3f", plan, k/5, k%5, share)
			if stated == 0 || !(deviation > 0.6*stated && deviation < 1.6*stated) {
				t.Errorf("%s, scatter %.5f, standard error %.5f", what, deviation, stated)
			}
			t.Logf("%s, scatter %.5f, standard error %.5f", what, deviation, stated)
		}
		if within < cases*90/100 {
			t.Errorf("%+v: %d of %d values lie within two standard errors", plan, within, cases)
		}
		t.Logf("%+v: %d of %d values lie within two standard errors", plan, within, cases)
	}
}

// Of the mean magnitude of a mean of 4 of 8 rounds, the bias that is left is small beside the bias
// without the jackknife: over all 70 ways to draw the rounds without replacement, where a
// correction that forgot that 8 are all there is would take off twice the bias; with replacement;
// and with two strata of four rounds, of which two are drawn each.
func TestJackknifeTakesOffTheBias(t *testing.T) {
	const steps, all, drawn = 4000, 8, 4
	random := rand.New(rand.NewPCG(9, 9))
	population := make([][]float64, all)
	offset := make([]float64, all) // a round moves all steps
	for i := range population {
		population[i], offset[i] = make([]float64, steps), random.NormFloat64()
	}
	truth := 0.0
	for step := range steps {
		mean, middle := 0.0, 0.7+random.NormFloat64()
		for i := range population {
			population[i][step] = middle + offset[i] + 1.5*random.NormFloat64()
			mean += population[i][step] / all
		}
		truth += math.Abs(mean) / steps
	}
	again := func(from func(round int) int) func(use func([][]float64)) {
		return func(use func([][]float64)) {
			for range 1000 {
				rounds := make([][]float64, drawn)
				for i := range rounds {
					rounds[i] = population[from(i)]
				}
				use(rounds)
			}
		}
	}
	for _, c := range []struct {
		name      string
		strata    int
		uncertain float64
		draws     func(use func(rounds [][]float64))
	}{
		{"without replacement", 1, 1 - float64(drawn)/all, func(use func([][]float64)) {
			for set := range 1 << all {
				var rounds [][]float64
				for i := range all {
					if set>>i&1 == 1 {
						rounds = append(rounds, population[i])
					}
				}
				if len(rounds) == drawn {
					use(rounds)
				}
			}
		}},
		{"with replacement", 1, 1, again(func(int) int { return random.IntN(all) })},
		{"two strata", 2, 1, again(func(round int) int { return round/2*4 + random.IntN(4) })},
	} {
		n, plain, corrected := 0.0, 0.0, 0.0
		c.draws(func(rounds [][]float64) {
			n++
			plain += summary(rounds, 1, 1, 0).mean[0]
			corrected += summary(rounds, 1, c.strata, c.uncertain).mean[0]
		})
		bias, before := corrected/n-truth, plain/n-truth
		if before < 0.05*truth || math.Abs(bias) > before/4 {
			t.Errorf("%s: bias %.4f of %.4f, without %.4f", c.name, bias, truth, before)
		}
		t.Logf("%s: bias %.4f of %.4f, without %.4f", c.name, bias, truth, before)
	}
}
