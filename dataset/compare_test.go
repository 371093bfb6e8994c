package dataset

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

var whole = Slice{Region: -1}

// scoreOf makes a score of one output with the given errors: one list per sequence.
func scoreOf(errors [][]float64) *Score {
	rec := &Recordings{Features: 1, Outputs: 1}
	for i, list := range errors {
		rec.Sequences = append(rec.Sequences, &Sequence{Name: fmt.Sprint(i), Scenario: "s",
			Steps: len(list), X: list, Y: make([]float64, len(list))})
	}
	return Measure(givenErrors{1}, rec, nil)
}

// same compares values of which NaN equals NaN.
func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

func TestEqualPredictorsDoNotRise(t *testing.T) {
	score := scoreOf([][]float64{{1, -2}, {3}, {0.5, 0.25}, {-7}})
	for _, m := range []Metric{RMSE, MAE, MaxError} {
		c := Compare(score, score, whole, m)
		if c.Rise != 0 || c.RiseLow != 0 || c.RiseHigh != 0 || c.Base != c.Other || c.Base == 0 {
			t.Errorf("%s: %+v, want no rise in [0, 0]", m, c)
		}
		if !(c.OtherLow < c.Other && c.Other <= c.OtherHigh) {
			t.Errorf("%s: %g is not inside [%g, %g]", m, c.Other, c.OtherLow, c.OtherHigh)
		}
	}
}

func TestRiseByHand(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name        string
		base, other [][]float64
		metric      Metric
		rise        float64
	}{
		{"a quarter more", [][]float64{{4, -4}, {4}}, [][]float64{{5, 5}, {-5}}, RMSE, 0.25},
		{"half", [][]float64{{4}, {4}}, [][]float64{{2}, {-2}}, MAE, -0.5},
		{"of the largest", [][]float64{{1}, {-2}}, [][]float64{{1}, {3}}, MaxError, 0.5},
		{"bias has no rise", [][]float64{{1}, {2}}, [][]float64{{2}, {4}}, Bias, nan},
		{"from nothing", [][]float64{{0}, {0}}, [][]float64{{1}, {1}}, MAE, nan},
		{"nothing stays nothing", [][]float64{{0}, {0}}, [][]float64{{0}, {0}}, MAE, 0},
	} {
		got := Compare(scoreOf(c.base), scoreOf(c.other), whole, c.metric)
		if !same(got.Rise, c.rise) {
			t.Errorf("%s: rise %g, want %g", c.name, got.Rise, c.rise)
		}
		if math.IsNaN(c.rise) && !(math.IsNaN(got.RiseLow) && math.IsNaN(got.RiseHigh)) {
			t.Errorf("%s: interval [%g, %g] of a rise that is not there", c.name, got.RiseLow,
				got.RiseHigh)
		}
	}
}

func TestNoIntervalBelowTwoSequences(t *testing.T) {
	for _, errors := range [][][]float64{{}, {{1, 2, 3}}} {
		c := Compare(scoreOf(errors), scoreOf(errors), whole, RMSE)
		for _, v := range []float64{c.RiseLow, c.RiseHigh, c.OtherLow, c.OtherHigh} {
			if !math.IsNaN(v) {
				t.Errorf("%d sequences: %+v has an interval", len(errors), c)
			}
		}
	}
}

// normalErrors are sequences of steps errors around 3 with std 0.5 between
// sequences and 0.2 within, times factor.
func normalErrors(random *rand.Rand, sequences, steps int, factor float64) [][]float64 {
	errors := make([][]float64, sequences)
	for i := range errors {
		level := 3 + 0.5*random.NormFloat64()
		for range steps {
			errors[i] = append(errors[i], factor*(level+0.2*random.NormFloat64()))
		}
	}
	return errors
}

func TestCompareRepeats(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 0))
	base, other := scoreOf(normalErrors(random, 12, 5, 1)),
		scoreOf(normalErrors(random, 12, 5, 1.2))
	for _, m := range Metrics(false) {
		first, second := Compare(base, other, whole, m), Compare(base, other, whole, m)
		for i, pair := range [][2]float64{
			{first.Base, second.Base}, {first.Other, second.Other}, {first.Rise, second.Rise},
			{first.RiseLow, second.RiseLow},
			{first.RiseHigh, second.RiseHigh}, {first.OtherLow, second.OtherLow},
			{first.OtherHigh, second.OtherHigh},
		} {
			if !same(pair[0], pair[1]) {
				t.Errorf("%s, field %d: %v, then %v", m, i, pair[0], pair[1])
			}
		}
	}
}

// Pairing is what makes the interval narrow: errors that differ widely between
// sequences but always by the same factor leave no doubt about the factor.
func TestCompareIsPaired(t *testing.T) {
	base := [][]float64{{1}, {10}, {3}, {0.2}, {7}, {5}}
	other := make([][]float64, len(base))
	for i := range base {
		other[i] = []float64{-1.5 * base[i][0]}
	}
	for _, m := range []Metric{RMSE, MAE, MaxError} {
		c := Compare(scoreOf(base), scoreOf(other), whole, m)
		if math.Abs(c.RiseLow-0.5) > 1e-12 || math.Abs(c.RiseHigh-0.5) > 1e-12 {
			t.Errorf("%s: interval [%g, %g], want [0.5, 0.5]", m, c.RiseLow, c.RiseHigh)
		}
	}
}

// In 400 trials of 12 sequences whose errors truly rise by 20 %, the 95 % interval must hold the 20
// %, and that of the value the true value, in 92 to 98 % of them; the standard error of a share of
// 400 is 1.1 %.
func TestIntervalCoversTheTrueRise(t *testing.T) {
	const seed, trials, sequences, factor = 11, 400, 12, 1.2
	for _, m := range []Metric{RMSE, MAE} {
		random := rand.New(rand.NewPCG(seed, 0))
		covered, otherCovered := 0, 0
		for range trials {
			c := Compare(scoreOf(normalErrors(random, sequences, 4, 1)),
				scoreOf(normalErrors(random, sequences, 4, factor)), whole, m)
			if c.RiseLow <= factor-1 && factor-1 <= c.RiseHigh {
				covered++
			}
			// E|e| = 3 (errors stay above 0), E e² = 3² + 0.5² + 0.2².
			truth := factor * map[Metric]float64{MAE: 3, RMSE: math.Sqrt(9 + 0.25 + 0.04)}[m]
			if c.OtherLow <= truth && truth <= c.OtherHigh {
				otherCovered++
			}
		}
		t.Logf("seed %d, %s: the rise is covered in %d, the value in %d of %d trials", seed, m,
			covered, otherCovered, trials)
		// The interval of an RMSE itself is wider for the sake of sequences that are less alike,
		// see wideningOf.
		for n, most := range map[int]int{covered: trials * 98 / 100,
			otherCovered: trials * 199 / 200} {
			if n < trials*92/100 || n > most {
				t.Errorf("seed %d, %s: covered in %d of %d trials, want 92 %% to %d", seed, m, n,
					trials, most)
			}
		}
	}
}

// The standard error of a mean is s/sqrt(n) by the textbook, and bootstrap and jackknife find it
// without a formula (Efron and Tibshirani 1993, chapters 5 and 11). With one step per sequence the
// mean absolute error is such a mean, so its interval is 2·1.96·s/sqrt(n) wide. Ends taken at the
// 50th of 2000 draws scatter by 0.06 standard errors each, 2 % of the width: 6 % are three times
// that.
func TestIntervalIsTheTextbookStandardErrorOfAMean(t *testing.T) {
	const seed, n = 13, 200
	random := rand.New(rand.NewPCG(seed, 0))
	errors := make([][]float64, n)
	sum, squares := 0.0, 0.0
	for i := range errors {
		e := 3 + 0.5*random.NormFloat64()
		errors[i] = []float64{e}
		sum += e
		squares += e * e
	}
	std := math.Sqrt((squares - sum*sum/n) / (n - 1))
	members := scoreOf(errors).members(whole, MAE, nil)
	pairs := pairsOf(members, members, MAE)
	s := sample{value: sum / n, widening: wideningOf(MAE)}
	_, s.weights = pairs.weights()
	pairs.resample(func(_, other float64) { s.draws = append(s.draws, other) })
	pairs.leaveOut(func(_, other float64) { s.leftOut = append(s.leftOut, other) })
	for name, interval := range map[string]func() (low, high float64){"bootstrap": s.bootstrap,
		"jackknife": s.jackknife} {
		low, high := interval()
		got, want := (high-low)/(2*1.96), std/math.Sqrt(n)
		if math.Abs(got-want) > 0.06*want {
			t.Errorf("seed %d, %s: standard error %g, textbook %g", seed, name, got, want)
		}
		if math.Abs((high+low)/2-sum/n) > 0.2*want {
			t.Errorf("seed %d, %s: interval [%g, %g] is not centred at the mean %g", seed, name,
				low, high, sum/n)
		}
	}
}
