package budget

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"kerf/dataset"
)

func TestJudge(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name    string
		row     Loss
		verdict Verdict
		wouldDo int
	}{
		{"upper end within", Loss{Relative: true, Rise: 0.01, RiseHigh: 0.04, Sequences: 12,
			Tolerance: 0.05}, Pass, 0},
		{"upper end just meets it", Loss{Relative: true, Rise: 0.01, RiseHigh: 0.05, Sequences: 12,
			Tolerance: 0.05}, Pass, 0},
		{"value above", Loss{Relative: true, Rise: 0.051, RiseHigh: 0.06, Sequences: 12,
			Tolerance: 0.05}, Fail, 0},
		// Half-width 0.06, room 0.02: three times too wide, see TestHowManySequencesWouldDo of
		// dataset.
		{"upper end above", Loss{Relative: true, Rise: 0.03, RiseHigh: 0.09, Sequences: 12,
			Tolerance: 0.05}, NotEnough, 82},
		// The same from 24 blocks of 4 sequences: t23/√23 = 2.0687/4.7958 = 0.43135, a third of it
		// is 0.14378; t188/√188 = 1.9727/13.711 = 0.14387, t189/√189 = 1.9726/13.748 = 0.14349. So
		// 190 blocks, six of every sequence, need 32.
		{"upper end above, by blocks", Loss{Relative: true, Rise: 0.03, RiseHigh: 0.09,
			Sequences: 4, Blocks: 24, Tolerance: 0.05}, NotEnough, 32},
		{"no room at all", Loss{Relative: true, Rise: 0.05, RiseHigh: 0.06, Sequences: 12,
			Tolerance: 0.05}, NotEnough, 0},
		{"two sequences", Loss{Relative: true, Rise: 0.01, RiseHigh: 0.02, Sequences: 2,
			Tolerance: 0.05}, Pass, 0},
		{"one sequence", Loss{Relative: true, Rise: 0.01, RiseHigh: nan, Sequences: 1,
			Tolerance: 0.05}, NotEnough, 6},
		{"one sequence, value above", Loss{Relative: true, Rise: 0.06, RiseHigh: nan, Sequences: 1,
			Tolerance: 0.05}, Fail, 0},
		{"largest error of five sequences",
			Loss{RowName: RowName{Metric: dataset.MaxError}, Fixed: 0.1, Sequences: 5,
				Tolerance: 0.2}, NotEnough, 6},
		{"largest error of six sequences",
			Loss{RowName: RowName{Metric: dataset.MaxError}, Fixed: 0.1, Sequences: 6,
				Tolerance: 0.2}, Pass, 0},
		{"accuracy of five sequences",
			Loss{RowName: RowName{Metric: dataset.Accuracy}, Relative: true, Rise: 0,
				RiseHigh: 0.001, Sequences: 5, Tolerance: 0.01}, NotEnough, 6},
		{"agreement of eleven sequences",
			Loss{RowName: RowName{Metric: dataset.Agreement}, Relative: true, Rise: 0,
				RiseHigh: 0.001, Sequences: 11, Tolerance: 0.01}, NotEnough, 12},
		{"explains enough",
			Loss{RowName: RowName{Metric: dataset.Explained}, Fixed: 0.9, FixedLow: 0.8,
				FixedHigh: 0.95, Sequences: 12, Tolerance: 0.8}, Pass, 0},
		{"explains too little",
			Loss{RowName: RowName{Metric: dataset.Explained}, Fixed: 0.79, FixedLow: 0.7,
				FixedHigh: 0.95, Sequences: 12, Tolerance: 0.8}, Fail, 0},
		// Half-width 0.1, room 0.05: twice too wide; t11/√11 = 0.6636, half of it is 0.3318,
		// t36/√36 = 2.0281/6 = 0.3380, t37/√37 = 2.0262/6.0828 = 0.3331, t38/√38 = 2.0244/6.1644 =
		// 0.3284.
		{"may explain too little",
			Loss{RowName: RowName{Metric: dataset.Explained}, Fixed: 0.85, FixedLow: 0.75,
				FixedHigh: 0.9, Sequences: 12, Tolerance: 0.8}, NotEnough, 39},
		{"five sequences, value above", Loss{Relative: true, Rise: 0.06, RiseHigh: 0.07,
			Sequences: 5, Tolerance: 0.05}, Fail, 0},
		{"none", Loss{Relative: true, RiseHigh: nan, Tolerance: 0.05}, NotEnough, 6},
		{"float makes no error", Loss{Relative: true, Rise: nan, RiseHigh: nan, Sequences: 12,
			Tolerance: 0.05}, Fail, 0},
		{"absolute within", Loss{Fixed: 0.19, FixedHigh: 0.2, Sequences: 12, Tolerance: 0.2}, Pass,
			0},
		{"absolute above", Loss{Fixed: 0.21, FixedHigh: 0.22, Sequences: 12, Tolerance: 0.2}, Fail,
			0},
		{"absolute, upper end above",
			Loss{Fixed: 0.19, FixedHigh: 0.21, Sequences: 12, Tolerance: 0.2}, NotEnough, 39},
		{"bias below zero within",
			Loss{RowName: RowName{Metric: dataset.Bias}, Fixed: -0.1, FixedLow: -0.2,
				FixedHigh: 0.01, Sequences: 12, Tolerance: 0.2}, Pass, 0},
		{"bias below zero beyond",
			Loss{RowName: RowName{Metric: dataset.Bias}, Fixed: -0.3, FixedLow: -0.4,
				FixedHigh: -0.2, Sequences: 12, Tolerance: 0.2}, Fail, 0},
		{"bias, lower end beyond",
			Loss{RowName: RowName{Metric: dataset.Bias}, Fixed: -0.1, FixedLow: -0.3,
				FixedHigh: 0.1, Sequences: 12, Tolerance: 0.2}, NotEnough, 39},
	} {
		c.row.Judged = true
		c.row.Judge()
		if c.row.Verdict != c.verdict || c.row.WouldDo != c.wouldDo {
			t.Errorf("%s: %q with %d sequences, want %q with %d", c.name, c.row.Verdict,
				c.row.WouldDo, c.verdict, c.wouldDo)
		}
		if explained := c.row.Explain() != ""; explained != (c.verdict == NotEnough) {
			t.Errorf("%s: explanation %q", c.name, c.row.Explain())
		}
	}
}

func TestVerdictOnTheWhole(t *testing.T) {
	pass, fail, few := Loss{Verdict: Pass}, Loss{Verdict: Fail}, Loss{Verdict: NotEnough}
	for _, c := range []struct {
		name  string
		loss  []Loss
		costs []Cost
		want  Verdict
	}{
		{"nothing is judged", []Loss{{}}, []Cost{{}}, Fits},
		{"all pass", []Loss{pass, {}}, []Cost{{Verdict: Pass}}, Fits},
		{"a tolerance is broken", []Loss{few, fail}, nil, DoesNotFit},
		{"a limit is broken", []Loss{pass, few}, []Cost{{Verdict: Pass}, {Verdict: Fail}},
			DoesNotFit},
		{"one cannot be judged", []Loss{pass, few}, []Cost{{Verdict: Pass}}, NotEnough},
	} {
		if got := verdict(c.loss, c.costs); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// The reserve, recomputed from its parts: 1.96 half-widths make the interval of many sequences, the
// difference of two alike figures has √2 times the standard error, 1.645 of these are 95 %
// one-sided. With two sequences the quantiles of Student's t are 12.706 and 6.314 (any table).
func TestSignoffReach(t *testing.T) {
	for sequences, quantiles := range map[int][2]float64{1_000_000: {1.959964, 1.644854},
		2: {12.7062, 6.3138}, 6: {2.5706, 2.0150}} {
		want := (quantiles[0] + quantiles[1]*math.Sqrt2) / quantiles[0]
		if got := signoffReach(sequences, sequences, sequences, 1); math.Abs(got-want) > 1e-3 {
			t.Errorf("%d sequences: signoffReach is %.4f, want %.4f", sequences, got, want)
		}
	}
}

// With 20 selection and 5 sign-off sequences: t(97.5 %) of 19 degrees of freedom is 2.0930, of 4
// 2.7764, t(95 %) of 19 is 1.7291 (any table). In standard deviations of a sequence the half-width
// is 2.0930/√20, that of the sign-off 2.7764/√5, and the difference reaches 1.7291·√(1/20 + 1/5).
func TestSignoffReachWithFewerSequences(t *testing.T) {
	half, later := 2.0930/math.Sqrt(20), 2.7764/math.Sqrt(5)
	want := (later + 1.7291*math.Sqrt(1./20+1./5)) / half
	if got := signoffReach(20, 5, 5, 1); math.Abs(got-want) > 1e-3 {
		t.Errorf("signoffReach is %.4f, want %.4f", got, want)
	}
	in := mustCity(t, "")
	fewer := *in.Signoff
	fewer.Sequences = fewer.Sequences[:3]
	in.Signoff = &fewer
	if got := in.countSequences()[""]; got != (sequenceCounts{12, 3}) {
		t.Errorf("12 selection and 3 sign-off sequences are counted as %v", got)
	}
	row := Loss{Relative: true, Rise: 0.01, RiseHigh: 0.02, Sequences: 20, comparisons: 1,
		counts: sequenceCounts{20, 5}}
	if got := row.reach(); math.Abs(got-0.01-want*0.01) > 1e-5 {
		t.Errorf("such a row may reach %.4f, want %.4f", got, 0.01+want*0.01)
	}
}

func TestWhatIsMissingInWords(t *testing.T) {
	for want, row := range map[string]Loss{
		"no step of the sign-off recordings lies": {RowName: RowName{Scope: Scope{Region: "low"}},
			Verdict: NotEnough},
		"there are no sign-off recordings of the scenario": {
			RowName: RowName{Scope: Scope{Scenario: "calm"}}, Verdict: NotEnough},
		"1 sequence is not enough for a verdict": {RowName: RowName{
			Scope: Scope{Scenario: "calm"}}, Verdict: NotEnough,
			Sequences: 1},
		"at least 9 are needed": {RowName: RowName{Scope: Scope{Scenario: "calm"}},
			Verdict:   NotEnough,
			Sequences: 4, WouldDo: 9},
		"4 sequences are not enough for a verdict": {RowName: RowName{Scope: Scope{Region: "low"}},
			Verdict:   NotEnough,
			Sequences: 4},
	} {
		row.Output, row.Metric = "y", dataset.RMSE
		if got := row.Explain(); !strings.Contains(got, want) {
			t.Errorf("%q, want %q in it", got, want)
		}
	}
}

// How often the upper end of an interval on sign-off sequences is above what a row may reach by
// selection sequences, for figures that are means of normal sequences (our own simulation, 20,000
// draws). One comparison keeps 5 % of the differences; the rest is the width of the later interval,
// which scatters. These shares stand in docs/intervals.md.
func TestHowOftenTheReserveIsEnough(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 17))
	mean := func(n int) (mean, half float64) {
		values := make([]float64, n)
		for i := range values {
			values[i] = random.NormFloat64()
		}
		mean, std := stat.MeanStdDev(values, nil)
		student := distuv.StudentsT{Sigma: 1, Nu: float64(n - 1)}
		return mean, student.Quantile(0.975) * std / math.Sqrt(float64(n))
	}
	for _, c := range []struct {
		selection, signoff, comparisons int
		want                            float64
	}{
		{8, 8, 1, 0.10}, {8, 8, 10, 0.02}, {8, 4, 10, 0.05}, {8, 3, 10, 0.09}, {8, 2, 10, 0.23},
		{40, 40, 10, 0.01}, {10, 12, 10, 0.02},
	} {
		above, draws := 0, 20000
		for range draws {
			value, half := mean(c.selection)
			row := Loss{Relative: true, Rise: value, RiseHigh: value + half, Sequences: c.selection,
				comparisons: c.comparisons, counts: sequenceCounts{c.selection, c.signoff}}
			later, width := mean(c.signoff)
			if later+width > row.reach() {
				above++
			}
		}
		if got := float64(above) / float64(draws); math.Abs(got-c.want) > 0.006 {
			t.Errorf("%d selection and %d sign-off sequences, %d comparisons: %.3f are above, "+
				"want %.2f", c.selection, c.signoff, c.comparisons, got, c.want)
		}
	}
}
