package exporter

import (
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"
)

func value(v float64) *float64 { return &v }

// smallSignoff is a sign-off with one judged row of loss and one of flash.
func smallSignoff() *Signoff {
	return &Signoff{
		Schema: Schema, Name: "leakair", Verdict: budget.Fits, Kerf: "1",
		Kept:    Kept{Features: []string{"a", "b"}, Units: [][]int{{0, 1}}},
		Dropped: Dropped{FrontEnds: []string{}},
		Formats: []FormatRow{{Layer: "layer", Tensor: "weight_ih", WordBits: 8}},
		Inputs:  []InputRow{{"job", "job.toml", "1"}, {"model", "m.npz", "2"}, {"signoff", "s.csv", "3"}},
		Loss: []LossRow{{
			Output: "leakage", Scenario: "all", Metric: "rmse", Unit: "L/min", Float: 1, Fixed: 1.02, FixedLow: value(0.9), FixedHigh: value(1.1),
			Rise: value(0.02), RiseLow: value(0.01), RiseHigh: value(0.03), Tolerance: value(0.05), ToleranceOn: "rise", Verdict: budget.Pass, Sequences: 12,
		}},
		Cost: []CostRow{
			{Target: "m4", Resource: budget.Flash, Part: "weights", Value: 1000, Unit: "B", Kind: "exact"},
			{Target: "m4", Resource: budget.Flash, Part: "code", Value: 2000, Unit: "B", Kind: "estimated"},
			{Target: "m4", Resource: budget.Flash, Part: budget.Total, Value: 3000, Unit: "B", Kind: "estimated", Limit: value(4000), Verdict: budget.Pass},
			{Target: "m4", Resource: budget.Cycles, Part: budget.Total, Value: 10000, Unit: "cycles", Kind: "estimated"},
			{Target: "m4", Resource: budget.StepTime, Part: budget.Total, Value: 0.001, Unit: "s", Kind: "estimated"},
		},
	}
}

// Every rule of a comparison: changes that are known count, those within what was measured do not.
func TestCompare(t *testing.T) {
	for _, c := range []struct {
		name       string
		change     func(s *Signoff)
		loss, cost string // outcome of the loss, and of the flash
		want       string
	}{
		{"nothing", func(*Signoff) {}, Same, Same, Same},
		{"intervals overlap", func(s *Signoff) {
			s.Loss[0].Rise, s.Loss[0].RiseLow, s.Loss[0].RiseHigh = value(0.035), value(0.028), value(0.045)
		}, Same, Same, Same},
		{"intervals apart, upwards", func(s *Signoff) {
			s.Loss[0].Rise, s.Loss[0].RiseLow, s.Loss[0].RiseHigh = value(0.04), value(0.035), value(0.045)
		}, Worse, Same, Worse},
		{"intervals apart, downwards", func(s *Signoff) {
			s.Loss[0].Rise, s.Loss[0].RiseLow, s.Loss[0].RiseHigh = value(0.0), value(-0.01), value(0.005)
		}, Better, Same, Better},
		{"rise apart, but against another float network", func(s *Signoff) {
			s.Inputs[1].SHA256 = "9"
			s.Loss[0].Rise, s.Loss[0].RiseLow, s.Loss[0].RiseHigh = value(0.04), value(0.035), value(0.045)
		}, Same, Same, Same},
		{"errors apart on other recordings", func(s *Signoff) {
			s.Inputs[2].SHA256 = "9"
			s.Loss[0].Fixed, s.Loss[0].FixedLow, s.Loss[0].FixedHigh = 1.3, value(1.2), value(1.4)
		}, Worse, Same, Worse},
		{"a verdict falls", func(s *Signoff) {
			s.Loss[0].Verdict, s.Verdict = budget.NotEnough, budget.NotEnough
		}, Worse, Same, Worse},
		{"exact bytes", func(s *Signoff) {
			s.Cost[0].Value, s.Cost[2].Value = 990, 2990
		}, Same, Better, Better},
		{"estimated bytes within what estimates may be off", func(s *Signoff) {
			s.Cost[1].Value, s.Cost[2].Value = 2000+codeOff, 3000+codeOff
		}, Same, Same, Same},
		{"estimated bytes beyond that", func(s *Signoff) {
			s.Cost[1].Value, s.Cost[2].Value = 2000+codeOff+1, 3000+codeOff+1
		}, Same, Worse, Worse},
		{"some better, some worse", func(s *Signoff) {
			s.Cost[0].Value, s.Cost[2].Value = 500, 2500
			s.Loss[0].Rise, s.Loss[0].RiseLow, s.Loss[0].RiseHigh = value(0.04), value(0.035), value(0.045)
		}, Worse, Better, Mixed},
		{"a row that one has alone", func(s *Signoff) { s.Loss[0].Region = "air masks leakage" }, OnlyNew, Same, Same},
	} {
		t.Run(c.name, func(t *testing.T) {
			fresh := smallSignoff()
			c.change(fresh)
			got := Compare(smallSignoff(), fresh)
			if got.Verdict != c.want || got.Loss[0].Outcome != c.loss || got.Cost[0].Outcome != c.cost {
				t.Errorf("%s, loss %s, flash %s; want %s, %s, %s", got.Verdict, got.Loss[0].Outcome, got.Cost[0].Outcome, c.want, c.loss, c.cost)
			}
			if got.IsWorse() != (c.want == Worse || c.want == Mixed) {
				t.Errorf("IsWorse is %v", got.IsWorse())
			}
		})
	}
}

// An error is worse or better only where both sides have an interval; a maximum has none, whatever stands beside it.
func TestLossWithoutIntervalIsSame(t *testing.T) {
	row := func(fixed, low, high float64) LossRow {
		return LossRow{Output: "leakage", Scenario: "all", Metric: "rmse", Fixed: fixed, FixedLow: value(low), FixedHigh: value(high)}
	}
	for name, c := range map[string]struct {
		change func(old, fresh *LossRow)
		want   string
	}{
		"both intervals":     {func(_, _ *LossRow) {}, Worse},
		"no low end before":  {func(old, _ *LossRow) { old.FixedLow = nil }, Same},
		"no high end before": {func(old, _ *LossRow) { old.FixedHigh = nil }, Same},
		"no low end now":     {func(_, fresh *LossRow) { fresh.FixedLow = nil }, Same},
		"no high end now":    {func(_, fresh *LossRow) { fresh.FixedHigh = nil }, Same},
		"a maximum": {func(old, fresh *LossRow) {
			old.Metric, fresh.Metric = string(dataset.MaxError), string(dataset.MaxError)
		}, Same},
	} {
		old, fresh := row(1, 0.9, 1.1), row(2, 1.9, 2.1)
		c.change(&old, &fresh)
		if got := lossChange(old, fresh, false).Outcome; got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

// Hashes are cut to their first 16 digits, and an empty one, of a file that is not there, stays empty.
func TestShortHash(t *testing.T) {
	const digits = "0123456789abcdef"
	for hash, want := range map[string]string{"": "", "1": "1", digits: digits, digits + "0": digits + "...", digits + digits + digits + digits: digits + "..."} {
		if got := ShortHash(hash); got != want {
			t.Errorf("%q becomes %q, want %q", hash, got, want)
		}
	}
}

// A change has its sign in front, and none where there is no change.
func TestSigned(t *testing.T) {
	show := func(v float64) string { return Quantity(v, "B") }
	for v, want := range map[float64]string{12: "+12 B", -12: "-12 B", 0: "0"} {
		if got := signed(v, show); got != want {
			t.Errorf("a change by %v is shown as %q, want %q", v, got, want)
		}
	}
}

// The time of a step is as far off as its cycles.
func TestUnknownOfTimeFollowsCycles(t *testing.T) {
	fresh := smallSignoff()
	fresh.Cost[3].Value, fresh.Cost[4].Value = 10500, 0.00105
	for _, c := range Compare(smallSignoff(), fresh).Cost[1:] {
		if share := c.Unknown / *c.New; math.Abs(share-cyclesOff) > 1e-9 || c.Outcome != Same {
			t.Errorf("%s: %.4f of the value may be off, outcome %s; want %.4f and same", c.Resource, share, c.Outcome, cyclesOff)
		}
	}
}

func TestCompareNamesWhatCameAndWent(t *testing.T) {
	fresh := smallSignoff()
	fresh.Kept = Kept{Features: []string{"a", "c"}, Units: [][]int{{1, 2}}}
	fresh.Dropped.FrontEnds = []string{"spectrum"}
	fresh.Formats[0].WordBits = 4
	c := Compare(smallSignoff(), fresh)
	var got []string
	for _, i := range c.Items {
		got = append(got, i.Item+" "+i.Name+" "+i.Change)
	}
	if want := "feature b out, feature c in, unit 0 out, unit 2 in, front_end spectrum out"; strings.Join(got, ", ") != want {
		t.Errorf("got %s, want %s", strings.Join(got, ", "), want)
	}
	if len(c.Formats) != 1 || c.Formats[0].Old != 8 || c.Formats[0].New != 4 {
		t.Errorf("formats: %+v", c.Formats)
	}
}

// What a comparison takes as unknown is the largest deviation that docs/cost.md lists.
func TestUnknownIsTheLargestDeviation(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "docs", "cost.md"))
	if err != nil {
		t.Fatal(err)
	}
	row := regexp.MustCompile(`(?m)^\| \S+ \| (\S+) to (\S+) % \| \d+ \| (\S+) to (\S+) B \| \d+ \| (\S+) to (\S+) B \|`)
	var largest [3]float64
	rows := row.FindAllStringSubmatch(string(text), -1)
	for _, r := range rows {
		for i := range largest {
			for _, cell := range r[1+2*i : 3+2*i] {
				v, err := strconv.ParseFloat(cell, 64)
				if err != nil {
					t.Fatal(err)
				}
				largest[i] = math.Max(largest[i], math.Abs(v))
			}
		}
	}
	if want := [3]float64{100 * cyclesOff, codeOff, stackOff}; len(rows) < 7 || largest != want {
		t.Errorf("docs/cost.md: %d cores, at most %v (%%, B, B); the comparison takes %v", len(rows), largest, want)
	}
}
