package dataset

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// What is made of sums is what is made of scores: values, and where both have them the changes with their
// intervals, to the last bit; of scenarios, regions, and with sequences in pieces as well.
func TestSumsGiveWhatScoresGive(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 0))
	for _, memory := range []int{0, 3} {
		rec, halves := &Recordings{Features: 1, Outputs: 1, Memory: memory}, []Region{{Name: "half", Conditions: []Condition{{Min: pointer(0.5)}}}}
		wider := &Recordings{Features: 1, Outputs: 1, Memory: memory}
		for i := range 20 {
			a := &Sequence{Scenario: []string{"calm", "rough"}[i%2], Steps: 5 + i%7, Settle: i % 3}
			b := *a
			for range a.Steps {
				e := random.NormFloat64() + 0.2
				a.X, b.X = append(a.X, e), append(b.X, 1.1*e+0.3*random.NormFloat64())
				a.Y = append(a.Y, random.Float64())
			}
			b.Y = a.Y
			rec.Sequences, wider.Sequences = append(rec.Sequences, a), append(wider.Sequences, &b)
		}
		base, other := Measure(givenErrors{1}, rec, halves), Measure(givenErrors{1}, wider, halves)
		constant := Measure(ConstantOf(rec), rec, halves)
		for _, m := range append(Metrics(false), Explained) {
			for region := -1; region < 1; region++ {
				for _, scenario := range []string{"", "rough"} {
					first, second := base.Sums(constant, 0, region, m), other.Sums(constant, 0, region, m)
					if scenario != "" {
						var kept []int
						for i, s := range rec.Sequences {
							if s.Scenario == scenario {
								kept = append(kept, i)
							}
						}
						first, second = first.Of(kept), second.Of(kept)
					}
					if err := second.Check(m); err != nil {
						t.Errorf("%s: %v", m, err)
					}
					slice := Slice{Scenario: scenario, Region: region}
					want := Compare(base, other, slice, m)
					got := CompareSums(first, second, m)
					if v := other.Value(constant, slice, m); got.New != v || second.Value(m) != v {
						t.Errorf("%s, %+v: %g and %g, the score gives %g", m, slice, got.New, second.Value(m), v)
					}
					if got.Sequences != want.Sequences {
						t.Errorf("%s, %+v: %d sequences, want %d", m, slice, got.Sequences, want.Sequences)
					}
					if !math.IsNaN(want.Rise) && [3]float64{got.Value, got.Low, got.High} != [3]float64{want.Rise, want.RiseLow, want.RiseHigh} {
						t.Errorf("%s, %+v: %g in [%g, %g], scores give %g in [%g, %g]", m, slice,
							got.Value, got.Low, got.High, want.Rise, want.RiseLow, want.RiseHigh)
					}
				}
			}
		}
	}
}

// References, classes and figures are those of TestClassMetricsByHand: recalls 2/3, 1, 1 become 2/3, 0, 1,
// accuracies 4/5 and 3/5, wrong steps of the constant "calm" 2.
func TestSumsOfAClassifier(t *testing.T) {
	rec := readClasses(t)
	base := Measure(byFeature{1: 0, 2: 1, 3: 2, 4: 0, 5: 1}, rec, nil)
	other := Measure(byFeature{1: 0, 2: 0, 3: 2, 4: 1, 5: 0}, rec, nil)
	constant := Measure(ConstantOf(rec), rec, nil)
	for m, want := range map[Metric]Change{
		Accuracy:         {Old: 4.0 / 5, New: 3.0 / 5},
		BalancedAccuracy: {Old: (2.0/3 + 1 + 1) / 3, New: (2.0/3 + 0 + 1) / 3},
		Agreement:        {Old: 1, New: 2.0 / 5},
		Explained:        {Old: 1 - 1.0/2, New: 1 - 2.0/2},
	} {
		against := base
		if m == Explained {
			against = constant
		}
		first, second := base.Sums(against, 0, -1, m), other.Sums(against, 0, -1, m)
		if first.Check(m) != nil || second.Check(m) != nil {
			t.Errorf("%s: %v, %v", m, first.Check(m), second.Check(m))
		}
		got := CompareSums(first, second, m)
		if math.Abs(got.Old-want.Old) > 1e-15 || math.Abs(got.New-want.New) > 1e-15 || got.Value != got.New-got.Old || got.Sequences != 2 {
			t.Errorf("%s: %+v, want %+v", m, got, want)
		}
		// Without the first sequence the constant makes no error, and nothing can be explained.
		if m != Explained && !(got.Low <= got.Value && got.Value <= got.High) {
			t.Errorf("%s: %g is not in [%g, %g]", m, got.Value, got.Low, got.High)
		}
	}
}

// sumsOf has the steps and parts of as many sequences.
func sumsOf(steps []int, parts ...float64) Sums {
	return Sums{Sequences: len(steps), Steps: steps, Parts: parts}
}

func TestChangesByHand(t *testing.T) {
	nan, two, one := math.NaN(), []int{4, 4}, []int{4, 0}
	for name, c := range map[string]struct {
		metric     Metric
		old, fresh Sums
		value      float64
		hasEnds    bool
	}{
		"an error, by its ratio":            {RMSE, sumsOf(two, 4, 4), sumsOf(two, 9, 9), 0.5, true},
		"the bias, by its magnitude":        {Bias, sumsOf(two, -8, -8), sumsOf(two, 4, 4), -1, true},
		"the largest of all sequences":      {MaxError, sumsOf(two, 2, 1), sumsOf(two, 1, 3), 0.5, true},
		"from nothing":                      {MAE, sumsOf(two, 0, 0), sumsOf(two, 1, 1), nan, false},
		"nothing stays nothing":             {MAE, sumsOf(two, 0, 0), sumsOf(two, 0, 0), 0, true},
		"one sequence has no interval":      {MAE, sumsOf([]int{4}, 2), sumsOf([]int{4}, 4), 1, false},
		"a sequence without steps is none":  {MAE, sumsOf(one, 2, 0), sumsOf(one, 4, 0), 1, false},
		"no sequence":                       {MAE, sumsOf(nil), sumsOf(nil), 0, false},
		"a share, by the difference":        {Accuracy, sumsOf(two, 3, 3), sumsOf(two, 2, 2), -0.25, true},
		"explained, of what the old one is": {Explained, Sums{2, two, []float64{2, 2}, []float64{8, 8}}, Sums{2, two, []float64{4, 4}, []float64{800, 800}}, -0.25, true},
	} {
		got := CompareSums(c.old, c.fresh, c.metric)
		if math.Abs(got.Value-c.value) > 1e-15 || math.IsNaN(got.Value) != math.IsNaN(c.value) {
			t.Errorf("%s: %g, want %g", name, got.Value, c.value)
		}
		if math.IsNaN(got.Low) == c.hasEnds || math.IsNaN(got.High) == c.hasEnds {
			t.Errorf("%s: interval [%g, %g]", name, got.Low, got.High)
		}
	}
}

func TestSumsThatCannotBe(t *testing.T) {
	two := []int{4, 4}
	for name, c := range map[string]struct {
		metric Metric
		sums   Sums
		want   string // of the error
	}{
		"whole":                     {RMSE, sumsOf(two, 1, 2), ""},
		"bias below 0":              {Bias, sumsOf(two, -1, 2), ""},
		"of classes":                {BalancedAccuracy, Sums{2, []int{4, 1, 4, 1}, []float64{4, 1, 4, 0}, nil}, ""},
		"classes of a region":       {BalancedAccuracy, Sums{Sequences: 2}, ""},
		"explained":                 {Explained, Sums{2, two, []float64{1, 2}, []float64{3, 4}}, ""},
		"unknown metric":            {"worst", sumsOf(two, 1, 2), "no sums"},
		"too few":                   {RMSE, Sums{2, two, []float64{1}, nil}, "one sum per sequence"},
		"too many":                  {RMSE, Sums{1, two, []float64{1, 1}, nil}, "one sum per sequence"},
		"of no sequence":            {BalancedAccuracy, Sums{0, two, []float64{1, 1}, nil}, "one sum per sequence"},
		"classes missing":           {BalancedAccuracy, Sums{2, []int{4, 1, 4}, []float64{4, 1, 4}, nil}, "one sum per sequence"},
		"explained of nothing":      {Explained, sumsOf(two, 1, 2), "one sum per sequence"},
		"a whole that is not there": {RMSE, Sums{2, two, []float64{1, 2}, []float64{3, 4}}, "one sum per sequence"},
		"error below 0":             {RMSE, sumsOf(two, -1, 2), "no sum"},
		"no number":                 {RMSE, sumsOf(two, math.NaN(), 2), "no sum"},
		"without end":               {Bias, sumsOf(two, math.Inf(1), 2), "no sum"},
		"steps below 0":             {RMSE, sumsOf([]int{-4, 4}, 1, 2), "more steps"},
		"more recognised than are":  {Accuracy, sumsOf(two, 5, 2), "more steps"},
	} {
		err := c.sums.Check(c.metric)
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// Whatever numbers stand in sums, a comparison ends.
func TestSumsOfAnySize(t *testing.T) {
	for _, big := range []float64{0, 5e-324, 1e160, math.MaxFloat64} {
		for _, m := range append(Metrics(false), Explained) {
			for n := range 9 {
				steps, parts, more := make([]int, n), make([]float64, n), make([]float64, n)
				for i := range n {
					steps[i], parts[i], more[i] = 1+i*(math.MaxInt/9), big, float64(i)
				}
				a, b := sumsOf(steps, parts...), sumsOf(steps, more...)
				if m == Explained {
					a.Whole, b.Whole = more, parts
				}
				CompareSums(a, b, m)
				CompareSums(b, a, m)
			}
		}
	}
}
