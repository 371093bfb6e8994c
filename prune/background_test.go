package prune

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"kerf/dataset"
)

// constant returns recordings whose features do not move within a sequence.
func constant(values ...[]float64) *dataset.Recordings {
	rec := &dataset.Recordings{Features: len(values[0]), Outputs: 1}
	for i, v := range values {
		rec.Sequences = append(rec.Sequences, &dataset.Sequence{
			Name: fmt.Sprint(i), Scenario: []string{"cold", "warm"}[min(i, 1)],
			Steps: 3, X: slices.Repeat(v, 3), Y: make([]float64, 3),
		})
	}
	return rec
}

// Against itself as background a sequence would have values of 0. In a linear network without
// feedback a value is weight × (x - background), so the expected values follow by hand. The
// scenario cold has one sequence, so the sequences of warm are its backgrounds. An output has 3
// units; float32 loses 64·2^-23 of each.
func TestNoSequenceIsItsOwnBackground(t *testing.T) {
	weights := []float64{2, -1, 0.5}
	p := linear(0, weights...)
	g := featureGame(p, dataset.FeatureNames(p.Features))
	two := constant([]float64{1, 2, 0}, []float64{-1, 3, 5})
	three := constant([]float64{1, 2, 0}, []float64{-1, 3, 5}, []float64{0, -4, 1})
	type distances map[string][]float64 // mean magnitude of x less the mean of others, per scenario
	ofTwo := distances{"cold": {2, 1, 5}, "warm": {2, 1, 5}}
	ofThree := distances{
		"cold": {1.5, 2.5, 3}, "warm": {(1.5 + 0) / 2, (4 + 6.5) / 2, (4.5 + 1.5) / 2},
	}
	for _, c := range []struct {
		name string
		rec  *dataset.Recordings
		plan plan
		want distances
	}{
		{"all subsets, one other", two, plan{0, 1}, ofTwo},
		{"all subsets, two others", three, plan{0, 2}, ofThree},
		{"pairs in turn", three, plan{4, 2}, ofThree},
		{"pairs that draw", two, plan{4, 8}, ofTwo},
	} {
		v := must(g.playAll(t.Context(), c.rec, Settings{}, c.plan))
		for column := range v.Columns {
			values, scenario := v.Columns[column].Values, v.Columns[column].Scenario
			errors := standardErrors(v.Scores, column)
			total, shares := 0.0, 0.0
			for i, d := range c.want[scenario] {
				total += 3 * math.Abs(weights[i]) * d
			}
			for i, d := range c.want[scenario] {
				want := 3 * math.Abs(weights[i]) * d
				if math.Abs(values[i]-want) > 3*64*4*0x1p-23 {
					t.Errorf("%s, %s, %d: %v, want %v", c.name, scenario, i, values[i], want)
				}
				if errors[i] > 1e-4 { // all draws give the same
					t.Errorf("%s, %s, %d: standard error %v", c.name, scenario, i, errors[i])
				}
				shares += values[i] / total
			}
			if math.Abs(shares-1) > 1e-4 {
				t.Errorf("%s, %s: shares add up to %v", c.name, scenario, shares)
			}
		}
	}
}

// In a single sequence of 7 steps, step t follows step t + 3, and after the last step the first;
// the values are computed by hand as weight × (x - background). The result says that there is no
// other sequence, and has no standard error.
func TestHalvesOfOneSequenceAreTheBackgroundOfEachOther(t *testing.T) {
	p := linear(0, 2, -1)
	rec := constant([]float64{0, 0})
	s := rec.Sequences[0]
	s.Steps, s.X, s.Y = 7, nil, make([]float64, 7)
	want := make([]float64, 2)
	at := func(step, feature int) float64 {
		return float64((step % 7) * (step % 7) * (1 - 2*feature))
	}
	for step := range 7 {
		s.X = append(s.X, at(step, 0), at(step, 1))
		for i, w := range []float64{2, -1} {
			want[i] += 3 * math.Abs(w*(at(step, i)-at(step+3, i))) / 7
		}
	}
	v := must(GroupValues(t.Context(), p, rec, []string{"a", "b"}, Settings{}))
	if v.Others != 0 || v.Backgrounds != 1 || v.Pairs != 0 || v.Deviations != nil {
		t.Errorf("%+v", v)
	}
	for i, w := range want {
		if got := v.Columns[0].Values[i]; math.Abs(got-w) > 3*128*4*0x1p-23 {
			t.Errorf("feature %d: %v, want %v", i, got, w)
		}
	}
	units := must(unitGame(randomPredictor(1, 2, 3, 1)).playAll(t.Context(), rec, Settings{},
		plan{4, 1}))
	if total := units.Columns[0].Total(); !(total > 0) {
		t.Errorf("sum of the scores of units %v", total)
	}
	s.Steps, s.X, s.Y = 1, s.X[:2], s.Y[:1]
	v = must(GroupValues(t.Context(), p, rec, []string{"a", "b"}, Settings{}))
	if total := v.Columns[0].Total(); total != 0 {
		t.Errorf("sum of the scores on one step, which has no other half: %v", total)
	}
}

// All subsets against all other sequences give no error, the same values for every seed, and the
// values of the definition without shortcuts: over all others and all orders the mean of the change
// that a feature makes when it enters, with sequences put together feature by feature, in double
// precision.
func TestAllSubsetsAgainstAllOthers(t *testing.T) {
	const features = 4
	p := randomPredictor(8, features, 5, 2)
	rec := driftingRecordings(p, 5)
	v := must(FeatureValues(t.Context(), p, rec, Settings{Seed: 1}))
	if v.Pairs != 0 || v.Backgrounds != 4 || v.Others != 4 {
		t.Fatalf("%+v", v)
	}
	orders := [][]int{{}}
	for range features {
		var longer [][]int
		for _, order := range orders {
			for i := range features {
				if !slices.Contains(order, i) {
					longer = append(longer, append(slices.Clone(order), i))
				}
			}
		}
		orders = longer
	}
	run := func(own, background *dataset.Sequence, present []int) []float64 {
		mixed := &dataset.Sequence{Steps: own.Steps, X: slices.Clone(own.X)}
		for i := range mixed.X {
			if step, feature := i/features, i%features; !slices.Contains(present, feature) {
				mixed.X[i] = background.X[step%background.Steps*features+feature]
			}
		}
		return predict(p, mixed, 2)
	}
	sums, steps := map[[2]string][]float64{}, map[string]float64{}
	for _, own := range rec.Sequences {
		values := make([][]float64, features)
		for i := range values {
			values[i] = make([]float64, own.Steps*2)
		}
		for _, background := range rec.Sequences {
			if background == own {
				continue
			}
			for _, order := range orders {
				for k, entering := range order {
					before := run(own, background, order[:k])
					after := run(own, background, order[:k+1])
					for i := range after {
						values[entering][i] += (after[i] - before[i]) / 4 / 24
					}
				}
			}
		}
		steps[own.Scenario] += float64(own.Steps)
		for feature, all := range values {
			for i, value := range all {
				key := [2]string{own.Scenario, p.Outputs[i%2].Name}
				if sums[key] == nil {
					sums[key] = make([]float64, features)
				}
				sums[key][feature] += math.Abs(value)
			}
		}
	}
	other := must(FeatureValues(t.Context(), p, rec, Settings{Seed: 2}))
	for c, column := range v.Columns {
		for i, got := range column.Values {
			want := sums[[2]string{column.Scenario, column.Output}][i] / steps[column.Scenario]
			if math.Abs(got-want) > playError {
				t.Errorf("column %d, feature %d: %v, want %v", c, i, got, want)
			}
			if other.Columns[c].Values[i] != got {
				t.Errorf("feature %d: %v, with another seed %v", i, got, other.Columns[c].Values[i])
			}
			if e := v.ShareError(ranked(column, i)); e != 0 {
				t.Errorf("feature %d: standard error %v", i, e)
			}
		}
	}
}

// Every sequence is drawn as often as any other: of 20 sequences one has a scenario of its own, and
// each of the 19 others is drawn 600·8/19 = 253 times, give or take √253 = 16 and no more than five
// times that.
func TestBackgroundsAreDrawnAlike(t *testing.T) {
	rec := &dataset.Recordings{}
	for i := range 20 {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: []string{"cold", "warm"}[i/19]}
		rec.Sequences = append(rec.Sequences, s)
	}
	for _, p := range []plan{{0, 8}, {4, 8}} {
		random := rand.New(rand.NewPCG(1, 1))
		drawn := map[string]int{}
		for range 600 {
			once := map[string]bool{}
			for _, s := range p.draw(backgroundsOf(rec, 3), random) {
				drawn[s.Name]++
				once[s.Name] = true
			}
			if p.pairs == 0 && len(once) != 8 {
				t.Fatalf("%d of 8 are different", len(once))
			}
		}
		for i, s := range rec.Sequences {
			if n := drawn[s.Name]; i == 3 && n != 0 || i != 3 && (n < 253-80 || n > 253+80) {
				t.Errorf("%+v: sequence %d is drawn %d times", p, i, n)
			}
		}
	}
}
