package dataset

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// Sums and scores give the same values, and where both have them the same changes with their
// intervals, to the last bit; also for scenarios, regions, and sequences in pieces.
func TestSumsGiveWhatScoresGive(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 0))
	for _, memory := range []int{0, 3} {
		halves := []Region{{Name: "half", Conditions: []Condition{{Min: pointer(0.5)}}}}
		rec := &Recordings{Features: 1, Outputs: 1, Memory: memory}
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
			for _, slice := range []Slice{{Region: -1}, {}, {Scenario: "rough", Region: -1}} {
				checkSums(t, base, other, constant, slice, m)
			}
		}
	}
}

// checkSums compares the figures from the sums over a slice with those from the scores.
func checkSums(t *testing.T, base, other, constant *Score, slice Slice, m Metric) {
	t.Helper()
	wrong := func(format string, args ...any) {
		t.Helper()
		t.Errorf("%s, %+v: %s", m, slice, fmt.Sprintf(format, args...))
	}
	first := base.Sums(constant, 0, slice.Region, m)
	second := other.Sums(constant, 0, slice.Region, m)
	if slice.Scenario != "" {
		var kept []int
		for i, s := range base.rec.Sequences {
			if s.Scenario == slice.Scenario {
				kept = append(kept, i)
			}
		}
		first, second = first.Of(kept), second.Of(kept)
	}
	if err := second.Check(m); err != nil {
		wrong("%v", err)
	}
	want, got := Compare(base, other, slice, m), CompareSums(first, second, m)
	if v := other.Value(constant, slice, m); got.New != v || second.Value(m) != v {
		wrong("%g and %g, the score gives %g", got.New, second.Value(m), v)
	}
	if got.Sequences != want.Sequences {
		wrong("%d sequences, want %d", got.Sequences, want.Sequences)
	}
	ends, wantEnds := [2]float64{got.Low, got.High}, [2]float64{want.RiseLow, want.RiseHigh}
	if !math.IsNaN(want.Rise) && (got.Value != want.Rise || ends != wantEnds) {
		wrong("%g in %v, scores give %g in %v", got.Value, ends, want.Rise, wantEnds)
	}
}

// References, classes and figures are those of TestClassMetricsByHand: recalls 2/3, 1, 1 become
// 2/3, 0, 1, accuracies 4/5 and 3/5, wrong steps of the constant "calm" 2.
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
		if math.Abs(got.Old-want.Old) > 1e-15 || math.Abs(got.New-want.New) > 1e-15 ||
			got.Value != got.New-got.Old || got.Sequences != 2 {
			t.Errorf("%s: %+v, want %+v", m, got, want)
		}
		// Without the first sequence the constant makes no error, and nothing can be explained.
		if m != Explained && !(got.Low <= got.Value && got.Value <= got.High) {
			t.Errorf("%s: %g is not in [%g, %g]", m, got.Value, got.Low, got.High)
		}
	}
}

// sumsOf returns the sums of as many sequences as there are steps.
func sumsOf(steps []int, parts ...float64) Sums {
	return Sums{Sequences: len(steps), Steps: steps, Parts: parts}
}

func TestChangesByHand(t *testing.T) {
	nan, two, one := math.NaN(), []int{4, 4}, []int{4, 0}
	of := func(parts ...float64) Sums { return sumsOf(two, parts...) }
	share := func(parts, whole float64) Sums {
		return Sums{2, two, []float64{parts, parts}, []float64{whole, whole}}
	}
	for name, c := range map[string]struct {
		metric     Metric
		old, fresh Sums
		value      float64
		hasEnds    bool
	}{
		"an error, by its ratio":       {RMSE, of(4, 4), of(9, 9), 0.5, true},
		"the bias, by its magnitude":   {Bias, of(-8, -8), of(4, 4), -1, true},
		"the largest of all sequences": {MaxError, of(2, 1), of(1, 3), 0.5, true},
		"from nothing":                 {MAE, of(0, 0), of(1, 1), nan, false},
		"nothing stays nothing":        {MAE, of(0, 0), of(0, 0), 0, true},
		"one sequence":                 {MAE, sumsOf([]int{4}, 2), sumsOf([]int{4}, 4), 1, false},
		"a sequence without steps":     {MAE, sumsOf(one, 2, 0), sumsOf(one, 4, 0), 1, false},
		"no sequence":                  {MAE, sumsOf(nil), sumsOf(nil), 0, false},
		"a share, by the difference":   {Accuracy, of(3, 3), of(2, 2), -0.25, true},
		"explained, as the old one is": {Explained, share(2, 8), share(4, 800), -0.25, true},
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
	two, four := []int{4, 4}, []int{4, 1, 4, 1}
	of := func(sequences int, steps []int, parts ...float64) Sums {
		return Sums{sequences, steps, parts, nil}
	}
	const length = "one sum per sequence"
	whole := Sums{2, two, []float64{1, 2}, []float64{3, 4}}
	for name, c := range map[string]struct {
		metric Metric
		sums   Sums
		want   string // of the error
	}{
		"whole":                    {RMSE, of(2, two, 1, 2), ""},
		"bias below 0":             {Bias, of(2, two, -1, 2), ""},
		"of classes":               {BalancedAccuracy, of(2, four, 4, 1, 4, 0), ""},
		"classes of a region":      {BalancedAccuracy, of(2, nil), ""},
		"explained":                {Explained, whole, ""},
		"unknown metric":           {"worst", of(2, two, 1, 2), "no sums"},
		"too few":                  {RMSE, of(2, two, 1), length},
		"too many":                 {RMSE, of(1, two, 1, 1), length},
		"of no sequence":           {BalancedAccuracy, of(0, two, 1, 1), length},
		"classes missing":          {BalancedAccuracy, of(2, four[:3], 4, 1, 4), length},
		"explained of nothing":     {Explained, of(2, two, 1, 2), length},
		"no explained share":       {RMSE, whole, length},
		"error below 0":            {RMSE, of(2, two, -1, 2), "no sum"},
		"no number":                {RMSE, of(2, two, math.NaN(), 2), "no sum"},
		"without end":              {Bias, of(2, two, math.Inf(1), 2), "no sum"},
		"steps below 0":            {RMSE, of(2, []int{-4, 4}, 1, 2), "more steps"},
		"more recognised than are": {Accuracy, of(2, two, 5, 2), "more steps"},
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
