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
		scale, factor := math.Exp(spread*random.NormFloat64()),
			math.Exp(spread/2*random.NormFloat64())
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

// In 1,000 simulated trials the true rise must lie in the interval in at least 93 %, and not above
// its upper end, by which tolerances are judged, in at least 94.5 % (the standard error of a share
// of 95 % is 0.7 %). Sequences are as unlike as those of a scenario of the demo, and twice as
// unlike. docs/intervals.md has the table of more numbers, metrics and kinds of errors.
func TestIntervalCoversTheTruthInOneThousandTrials(t *testing.T) {
	const seed, trials = 20261125, 1000
	for _, spread := range []float64{0.25, 0.5} {
		truth := math.Exp(spread*spread/4) - 1
		for _, sequences := range []int{2, 3, 5, BootstrapSequences, 12} {
			random := rand.New(rand.NewPCG(seed, uint64(sequences)))
			covered, notAbove := 0, 0
			for range trials {
				a, b := pairedErrors(random, sequences, spread)
				c := Compare(scoreOf(a), scoreOf(b), whole, RMSE)
				if truth <= c.RiseHigh {
					notAbove++
					if c.RiseLow <= truth {
						covered++
					}
				}
			}
			t.Logf("seed %d, spread %g, %d sequences: covered in %d of %d trials, not above the "+
				"upper end in %d", seed, spread, sequences, covered, trials, notAbove)
			if covered < trials*93/100 || notAbove < trials*945/1000 {
				t.Errorf("seed %d, spread %g, %d sequences: covered in %d of %d trials, want 93 "+
					"%%; not above the upper end in %d, want 94.5 %%", seed, spread, sequences,
					covered, trials, notAbove)
			}
		}
	}
}

// TestSumsAndTalliesAgree compares both types of pairs, which draw the same sequences.
func TestSumsAndTalliesAgree(t *testing.T) {
	a, b := pairedErrors(rand.New(rand.NewPCG(3, 0)), 9, 0.25)
	base, other := scoreOf(a).members(whole, RMSE, nil), scoreOf(b).members(whole, RMSE, nil)
	for _, m := range []Metric{RMSE, MAE, Bias} {
		var short, long []float64
		into := func(to *[]float64) func(x, y float64) {
			return func(x, y float64) { *to = append(*to, x, y) }
		}
		for to, p := range map[*[]float64]pairs{&short: pairsOf(base, other, m),
			&long: tallyPairs{base, other, m}} {
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

// TestIntervalByHand has ends computed by hand. Draws 1..1999 with a value at their middle have no
// bias; with no acceleration the ends are the percentiles of ±expanded(n) normal standard errors.
func TestIntervalByHand(t *testing.T) {
	draws := func() []float64 {
		all := make([]float64, 1999)
		for i := range all {
			all[i] = float64(i + 1)
		}
		return all
	}
	alike := []float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1}
	even := sample{value: 1000, draws: draws(),
		leftOut: []float64{-1, 1, -1, 1, -1, 1, -1, 1, -1, 1, -1, 1}, weights: alike}
	low, high := even.bootstrap()
	// t with 11 degrees of freedom 2.201 (any table), times sqrt(12/11): 2.299, beyond which 1.075
	// % of a normal distribution lie on either side.
	if math.Abs(low-0.01075*1999) > 1.5 || math.Abs(high-(1-0.01075)*1999) > 1.5 {
		t.Errorf("[%g, %g], want [21.5, 1977.5]", low, high)
	}
	// A value at the 84th percentile has bias 1: the middle of the interval lies at the 97.7th (2
	// standard errors).
	biased := sample{value: 1681.5, draws: draws(), leftOut: even.leftOut, weights: alike}
	if low, high := biased.bootstrap(); math.Abs(low-(1-0.6176)*1999) > 5 || high < 1998 {
		t.Errorf("biased: [%g, %g], want a low end at -2.299 + 2·0.9988 = -0.301 standard errors",
			low, high)
	}
	// The skewness of ten values 0 and one 11 about their mean 1: Σd³/(6 (Σd²)^1.5), d = mean -
	// value: (10 - 1000)/(6·110^1.5) = -0.143.
	skewed := sample{leftOut: []float64{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 11}}
	if got := skewed.acceleration(); math.Abs(got+0.14302) > 1e-4 {
		t.Errorf("acceleration %g, want -0.1430", got)
	}
	// Weights 1, 1, 2 stand for 16/6 sequences.
	if got := effective([]float64{1, 1, 2}); math.Abs(got-16.0/6) > 1e-12 {
		t.Errorf("weights 1, 1, 2 stand for %g sequences, want 2.667", got)
	}
}

// TestHowManySequencesWouldDo takes an interval that is three times too wide on twelve sequences:
// t11/√11 = 0.6636, a third of it is 0.2212, and t79/√79 = 1.9905/8.888 = 0.2239, t80/√80 =
// 1.9901/8.944 = 0.2225, t81/√81 = 1.9897/9 = 0.2211 (t from any table).
func TestHowManySequencesWouldDo(t *testing.T) {
	for _, c := range []struct {
		sequences int
		times     float64
		want      int
	}{{12, 3, 82}, {12, 1, 12}, {40, 1000, 0}} {
		if got := TooFew(c.sequences, c.times); got != c.want {
			t.Errorf("%d sequences, %g times too wide: %d would do, want %d", c.sequences, c.times,
				got, c.want)
		}
	}
	// On drawn data: the mean half-widths at 12 and at 82 sequences.
	random := rand.New(rand.NewPCG(17, 0))
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

// Below the number of sequences that the bootstrap needs, Compare and CompareRoughly give the same;
// from it on the rough interval lies within the other, and is on average over 50 draws of twelve
// sequences at most a quarter narrower.
func TestRoughIntervalsAreAboutAsWide(t *testing.T) {
	random := rand.New(rand.NewPCG(23, 0))
	rough, exact, roughOther, exactOther := 0.0, 0.0, 0.0, 0.0
	for range 50 {
		a, b := pairedErrors(random, BootstrapSequences-1, 0.25)
		if r, c := CompareRoughly(scoreOf(a), scoreOf(b), whole, RMSE),
			Compare(scoreOf(a), scoreOf(b), whole, RMSE); r != c {
			t.Fatalf("of few sequences %+v and %+v", r, c)
		}
		a, b = pairedErrors(random, 12, 0.25)
		base, other := scoreOf(a), scoreOf(b)
		r, c := CompareRoughly(base, other, whole, RMSE), Compare(base, other, whole, RMSE)
		if r.Rise != c.Rise || r.Other != c.Other || r.Base != c.Base ||
			r.Sequences != c.Sequences || r.RiseHigh > c.RiseHigh || r.OtherLow < c.OtherLow {
			t.Fatalf("%+v and %+v", r, c)
		}
		rough, exact = rough+r.RiseHigh-r.RiseLow, exact+c.RiseHigh-c.RiseLow
		roughOther, exactOther = roughOther+r.OtherHigh-r.OtherLow,
			exactOther+c.OtherHigh-c.OtherLow
	}
	for _, ratio := range []float64{rough / exact, roughOther / exactOther} {
		if ratio < 0.75 {
			t.Errorf("rough intervals are %.2f times as wide", ratio)
		}
	}
}

// The jackknife by hand: values 1 and 3 without one of two sequences. Their mean is 2, the squared
// distances add up to 2, times (n-1)/n = 1/2: a standard error of 1; t with one degree of freedom
// is 12.706.
func TestJackknifeByHand(t *testing.T) {
	s := sample{value: 2, leftOut: []float64{1, 3}, weights: []float64{1, 1}}
	if low, high := s.jackknife(); math.Abs(low-(2-12.7062)) > 1e-3 || math.Abs(high-(2+12.7062)) >
		1e-3 {
		t.Errorf("[%g, %g], want 2 ± 12.706", low, high)
	}
	s.widening = 1 // logarithms 0 and 1.0986: a standard error of 0.5493
	if low, high := s.jackknife(); math.Abs(math.Log(high/2)-12.7062*0.5493) > 1e-3 ||
		math.Abs(low*high-4) > 1e-9 {
		t.Errorf("[%g, %g], want 2 times and by exp(12.706 · 0.5493)", low, high)
	}
	s.leftOut[0] = 0 // all of the error is in one sequence: there is no logarithm
	if low, high := s.jackknife(); high <= 2 || low >= 2 || math.IsInf(high, 0) {
		t.Errorf("[%g, %g] around 2", low, high)
	}
}
