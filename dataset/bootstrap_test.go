package dataset

import (
	"math"
	"math/rand/v2"
	"testing"
)

// pairedErrors draws the errors of two predictors on the same steps. Sequences
// differ: each has its own scale exp(spread·N), and the other predictor its own factor
// exp(spread/2·N) over the base. Nine tenths of the other's error are the base's; within a
// sequence, errors follow their predecessors with 0.9. So E other²/E base² = E exp(spread·N) =
// exp(spread²/2), whatever the scales.
//
// With a spread of 0.25 the logarithms of the mean squares of the sequences of a
// scenario have a standard deviation of 0.5, and those of the ratios one of 0.25:
// so it is for cut networks on the sequences of a scenario of the demo (own
// measurement: 0.27 to 0.76, and 0.12 to 0.43).
func pairedErrors(random *rand.Rand, sequences int, spread float64) (base, other [][]float64) {
	const steps, memory, common = 400, 0.9, 0.9
	fresh, own := math.Sqrt(1-memory*memory), math.Sqrt(1-common*common)
	for range sequences {
		scale, factor := math.Exp(spread*random.NormFloat64()), math.Exp(spread/2*random.NormFloat64())
		u, v := random.NormFloat64(), random.NormFloat64()
		a, b := make([]float64, steps), make([]float64, steps)
		for k := range steps {
			u, v = memory*u+fresh*random.NormFloat64(), memory*v+fresh*random.NormFloat64()
			a[k], b[k] = scale*u, scale*factor*(common*u+own*v)
		}
		base, other = append(base, a), append(other, b)
	}
	return base, other
}

// The simulation that the interval answers for: in 1,000 trials the true rise must lie within in 92 to 98 % of them,
// for as few sequences as a verdict is given on, for a scenario and for a whole job. (The standard error of such a share is 0.7 %.)
func TestIntervalCoversTheTruthInOneThousandTrials(t *testing.T) {
	const seed, trials, spread = 20261125, 1000, 0.25
	truth := math.Exp(spread*spread/4) - 1
	for _, sequences := range []int{MinSequences, 10, 12, 40} {
		random := rand.New(rand.NewPCG(seed, uint64(sequences)))
		covered, above, percentile := 0, 0, 0
		for range trials {
			a, b := pairedErrors(random, sequences, spread)
			base, other := scoreOf(a), scoreOf(b)
			c := Compare(base, other, whole, RMSE)
			if c.RiseLow <= truth && truth <= c.RiseHigh {
				covered++
			}
			if truth <= c.RiseHigh {
				above++
			}
			if low, high := percentiles(base, other); low <= truth && truth <= high {
				percentile++
			}
		}
		t.Logf("seed %d, %d sequences: covered in %.1f %% of %d trials, not above the upper end in %.1f %%; by plain percentiles %.1f %%", seed, sequences, 100*float64(covered)/trials, trials, 100*float64(above)/trials, 100*float64(percentile)/trials)
		if covered < trials*92/100 || covered > trials*98/100 {
			t.Errorf("seed %d, %d sequences: covered in %d of %d trials, want 92 to 98 %%", seed, sequences, covered, trials)
		}
	}
}

// percentiles is the interval without any correction.
func percentiles(base, other *Score) (low, high float64) {
	var b bootstrap
	pairsOf(base.members(whole), other.members(whole), RMSE).resample(func(base, other float64) { b.draws = append(b.draws, rise(base, other, RMSE)) })
	return b.interval()
}

// Both ways to resample draw the same sequences.
func TestSumsAndTalliesAgree(t *testing.T) {
	a, b := pairedErrors(rand.New(rand.NewPCG(3, 0)), 9, 0.25)
	base, other := scoreOf(a).members(whole), scoreOf(b).members(whole)
	for _, m := range []Metric{RMSE, MAE, Bias} {
		var short, long []float64
		into := func(to *[]float64) func(x, y float64) { return func(x, y float64) { *to = append(*to, x, y) } }
		for to, p := range map[*[]float64]pairs{&short: pairsOf(base, other, m), &long: tallyPairs{base, other, m}} {
			into(to)(p.whole())
			p.resample(into(to))
			p.leaveOut(into(to))
			*to = append(*to, float64(p.steps()))
		}
		for i := range short {
			if math.Abs(short[i]-long[i]) > 1e-12 {
				t.Fatalf("%s, value %d: %g and %g", m, i, short[i], long[i])
			}
		}
	}
}

// The ends by hand. Draws 1..1999 with a value at their middle have no bias; with
// no acceleration the ends are the percentiles of ±expanded(n) normal standard errors.
func TestIntervalByHand(t *testing.T) {
	draws := func() []float64 {
		all := make([]float64, 1999)
		for i := range all {
			all[i] = float64(i + 1)
		}
		return all
	}
	alike := []float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1}
	even := bootstrap{value: 1000, draws: draws(), leftOut: []float64{-1, 1, -1, 1, -1, 1, -1, 1, -1, 1, -1, 1}, weights: alike}
	low, high := even.interval()
	// t with 11 degrees of freedom 2.201 (any table), times sqrt(12/11): 2.299, beyond which 1.075 % of a normal distribution lie on either side.
	if math.Abs(low-0.01075*1999) > 1.5 || math.Abs(high-(1-0.01075)*1999) > 1.5 {
		t.Errorf("[%g, %g], want [21.5, 1977.5]", low, high)
	}
	// A value at the 84th percentile has bias 1: the middle of the interval lies at the 97.7th (2 standard errors).
	biased := bootstrap{value: 1681.5, draws: draws(), leftOut: even.leftOut, weights: alike}
	if low, high := biased.interval(); math.Abs(low-(1-0.6176)*1999) > 5 || high < 1998 {
		t.Errorf("biased: [%g, %g], want a low end at -2.299 + 2·0.9988 = -0.301 standard errors", low, high)
	}
	// The skewness of ten values 0 and one 11 about their mean 1: Σd³/(6 (Σd²)^1.5), d = mean - value: (10 - 1000)/(6·110^1.5) = -0.143.
	skewed := bootstrap{leftOut: []float64{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 11}}
	if got := skewed.acceleration(); math.Abs(got+0.14302) > 1e-4 {
		t.Errorf("acceleration %g, want -0.1430", got)
	}
	// Weights 1, 1, 2 stand for 16/6 sequences.
	if got := effective([]float64{1, 1, 2}); math.Abs(got-16.0/6) > 1e-12 {
		t.Errorf("weights 1, 1, 2 stand for %g sequences, want 2.667", got)
	}
}

// An interval that is three times too wide on twelve sequences: t11/√11 = 0.6636, a third of it is
// 0.2212, and t79/√79 = 1.9905/8.888 = 0.2239, t80/√80 = 1.9901/8.944 = 0.2225, t81/√81 = 1.9897/9 = 0.2211 (t from any table).
func TestHowManySequencesWouldDo(t *testing.T) {
	for _, c := range []struct {
		sequences int
		times     float64
		want      int
	}{{12, 3, 82}, {12, 1, 12}, {40, 1000, 0}} {
		if got := TooFew(c.sequences, c.times); got != c.want {
			t.Errorf("%d sequences, %g times too wide: %d would do, want %d", c.sequences, c.times, got, c.want)
		}
	}
	random := rand.New(rand.NewPCG(17, 0)) // what it promises, on drawn data: mean half-widths at 12 and at 82 sequences
	width := func(sequences int) float64 {
		sum := 0.0
		for range 100 {
			a, b := pairedErrors(random, sequences, 0.25)
			c := Compare(scoreOf(a), scoreOf(b), whole, MAE)
			sum += (c.RiseHigh - c.RiseLow) / 2
		}
		return sum
	}
	if ratio := width(12) / width(82); math.Abs(ratio-3) > 0.4 {
		t.Errorf("82 sequences have an interval %.2f times as narrow as 12, want 3", ratio)
	}
}

// Rough intervals are as wide as the others: on average over 50 draws of twelve sequences within a quarter.
func TestRoughIntervalsAreAboutAsWide(t *testing.T) {
	random := rand.New(rand.NewPCG(23, 0))
	rough, exact, roughOther, exactOther := 0.0, 0.0, 0.0, 0.0
	for range 50 {
		a, b := pairedErrors(random, 12, 0.25)
		base, other := scoreOf(a), scoreOf(b)
		r, c := CompareRoughly(base, other, whole, RMSE), Compare(base, other, whole, RMSE)
		if r.Rise != c.Rise || r.Other != c.Other || r.Base != c.Base || r.Sequences != c.Sequences {
			t.Fatalf("values %+v and %+v", r, c)
		}
		rough, exact = rough+r.RiseHigh-r.RiseLow, exact+c.RiseHigh-c.RiseLow
		roughOther, exactOther = roughOther+r.OtherHigh-r.OtherLow, exactOther+c.OtherHigh-c.OtherLow
	}
	for _, ratio := range []float64{rough / exact, roughOther / exactOther} {
		if ratio < 0.75 || ratio > 1.25 {
			t.Errorf("rough intervals are %.2f times as wide", ratio)
		}
	}
}
