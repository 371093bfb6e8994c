package report

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"
)

func value(v float64) *float64 { return &v }

// everywhere names the row of a metric over all recordings.
func everywhere(output string, metric dataset.Metric) budget.RowName {
	return budget.RowName{Output: output, Scope: budget.Scope{Scenario: "all"}, Metric: metric}
}

// smallSignoff is a sign-off with one judged row of loss, of twelve sequences of 100 steps, and
// one of flash.
func smallSignoff() *Signoff {
	s := &Signoff{
		Schema: Schema, Name: "leakair", Verdict: budget.Fits, Kerf: "1",
		Kept:    Kept{Features: []string{"a", "b"}, Units: [][]int{{0, 1}}},
		Dropped: Dropped{FrontEnds: []string{}},
		Formats: []FormatRow{{Layer: "layer", Tensor: "weight_ih", WordBits: 8}},
		Inputs: []budget.InputFile{{Role: "job", File: "job.toml", SHA256: "1"},
			{Role: "model", File: "m.npz", SHA256: "2"},
			{Role: budget.SignoffRole, File: "s.csv", SHA256: "3"}},
		Loss: []LossRow{{
			RowName: everywhere("leakage", dataset.RMSE), Unit: "L/min",
			FixedLow: value(0.9), FixedHigh: value(1.1),
			Rise: value(0.02), RiseLow: value(0.01), RiseHigh: value(0.03), Tolerance: value(0.05),
			ToleranceOn: "rise", Verdict: budget.Pass, Sequences: 12,
		}},
		Cost: []CostRow{
			{Target: "m4", Resource: budget.Flash, Part: "weights", Value: 1000, Unit: "B",
				Kind: "exact"},
			{Target: "m4", Resource: budget.Flash, Part: "code", Value: 2000, Unit: "B",
				Kind: "estimated"},
			{Target: "m4", Resource: budget.Flash, Part: budget.Total, Value: 3000, Unit: "B",
				Kind: "estimated", Limit: value(4000), Verdict: budget.Pass},
			{Target: "m4", Resource: budget.Cycles, Part: budget.Total, Value: 10000,
				Unit: "cycles", Kind: "estimated"},
			{Target: "m4", Resource: budget.StepTime, Part: budget.Total, Value: 0.001, Unit: "s",
				Kind: "estimated"},
		},
		Sums: &SumsInfo{Scenarios: []string{"calm", "rough"}},
	}
	var float, fixed []float64
	for i := range 12 {
		s.Sums.Sequences = append(s.Sums.Sequences, strconv.Itoa(i))
		s.Sums.ScenarioOf, s.Sums.Steps = append(s.Sums.ScenarioOf, i%2), append(s.Sums.Steps, 100)
		float, fixed = append(float, 94.5+float64(i)), append(fixed, 98.54+float64(i))
	}
	s.Sums.Rows = []SumsRow{{"leakage", "", "", "rmse", s.Sums.Steps, float, fixed, nil}}
	s.follow()
	return s
}

// A figure without an estimate is no figure to compare with: a verdict that goes with it counts,
// and without a limit nothing is said. Two figures without an estimate compare by those of the
// compiler which the estimates hold for.
func TestCompareWithoutAnEstimate(t *testing.T) {
	none := func(limit *float64) *Signoff {
		s := smallSignoff()
		c := s.Total("m4", budget.Flash)
		c.Kind, c.Known, c.Limit, c.Verdict = budget.NotEstimated, value(1000), limit, ""
		if limit != nil {
			c.Verdict, s.Verdict = budget.NoEstimate, budget.NoEstimate
		}
		return s
	}
	free := smallSignoff()
	free.Total("m4", budget.Flash).Limit, free.Total("m4", budget.Flash).Verdict = nil, ""
	for _, c := range []struct {
		old, fresh *Signoff
		row, all   Outcome
		isApart    bool
	}{
		{smallSignoff(), none(value(4000)), Worse, Worse, true},
		{none(value(4000)), smallSignoff(), Better, Better, true},
		{free, none(nil), NotComparable, NotComparable, true},
		{none(value(4000)), none(value(4000)), Same, Same, false},
	} {
		got := Compare(c.old, c.fresh)
		for _, r := range got.Cost {
			hasNone := r.Old == nil || r.New == nil
			if r.Resource == budget.Flash && (r.Outcome != c.row ||
				(r.Change == nil) != c.isApart || hasNone != c.isApart) {
				t.Errorf("row %+v, want %s", r, c.row)
			}
		}
		if got.Verdict != c.all || c.all == NotComparable &&
			!strings.Contains(got.Why, "no estimate") {
			t.Errorf("verdict %s, want %s: %s", got.Verdict, c.all, got.Why)
		}
	}
}

// follow makes the errors of the rows follow from the sums.
func (s *Signoff) follow() {
	for i := range s.Loss {
		if sums, found := s.Sums.of(&s.Loss[i]); found {
			s.Loss[i].Float = sums.float.Value(dataset.Metric(s.Loss[i].Metric))
			s.Loss[i].Fixed = sums.fixed.Value(dataset.Metric(s.Loss[i].Metric))
		}
	}
}

// times makes the errors of the integer network larger by a factor of the RMSE, sequence by
// sequence.
func (s *Signoff) times(factor func(sequence int) float64) {
	for i := range s.Sums.Rows[0].Fixed {
		s.Sums.Rows[0].Fixed[i] *= factor(i) * factor(i)
	}
	s.follow()
}

func always(factor float64) func(int) float64 { return func(int) float64 { return factor } }

// The small sign-off is one that could be read.
func TestSmallSignoffIsWhole(t *testing.T) {
	if err := smallSignoff().CheckVerdicts(); err != nil {
		t.Error(err)
	}
}

// Every rule of a comparison: changes that are known count, those within what was measured do not.
func TestCompare(t *testing.T) {
	type change = func(s *Signoff)
	errors := func(factor float64) change { return func(s *Signoff) { s.times(always(factor)) } }
	weights := func(saved float64) change {
		return func(s *Signoff) { s.Cost[0].Value, s.Cost[2].Value = 1000-saved, 3000-saved }
	}
	code := func(more float64) change {
		return func(s *Signoff) { s.Cost[1].Value, s.Cost[2].Value = 2000+more, 3000+more }
	}
	judge := func(tolerance float64, row, whole budget.Verdict) change {
		return func(s *Signoff) {
			s.Loss[0].Tolerance, s.Loss[0].Verdict, s.Verdict = value(tolerance), row, whole
		}
	}
	limit := func(bytes float64, verdict budget.Verdict) change {
		return func(s *Signoff) { s.Cost[2].Limit, s.Cost[2].Verdict = value(bytes), verdict }
	}
	verdict := func(whole budget.Verdict) change { return func(s *Signoff) { s.Verdict = whole } }
	all := func(changes ...change) change {
		return func(s *Signoff) {
			for _, c := range changes {
				c(s)
			}
		}
	}
	none := all()
	unjudged := func(s *Signoff) {
		s.Loss[0].Tolerance, s.Loss[0].ToleranceOn, s.Loss[0].Verdict = nil, "", ""
	}
	absolute := func(s *Signoff) {
		s.Loss[0].Tolerance, s.Loss[0].ToleranceOn = value(1.2), "fixed"
	}
	region := func(s *Signoff) { s.Loss[0].Region = "air masks leakage" }
	fits, broken := budget.Fits, budget.DoesNotFit
	for _, c := range []struct {
		name       string
		before     change  // of both
		change     change  // of the new one
		loss, cost Outcome // of the loss, and of the flash
		want       Outcome
	}{
		{"nothing", none, none, Same, Same, Same},
		{"every error a tenth larger", none, errors(1.1), Worse, Same, Worse},
		{"every error a tenth smaller", none, errors(0.9), Better, Same, Better},
		{"some errors larger, some smaller", none, func(s *Signoff) {
			s.times(func(i int) float64 { return 1 + 0.1*float64(i%3-1) })
		}, Same, Same, Same},
		{"less than a tenth of the tolerance", none, errors(1.0049), Same, Same, Same},
		{"a tenth of the tolerance", none, errors(1.0051), Worse, Same, Worse},
		{"less than a tenth of a tolerance in the unit", absolute, errors(1.11), Same, Same, Same},
		{"a tenth of a tolerance in the unit", absolute, errors(1.12), Worse, Same, Worse},
		{"not judged, less than is usual", unjudged, errors(1.0049), Same, Same, Same},
		{"not judged, more than is usual", unjudged, errors(1.0051), Worse, Same, Worse},
		{"a network as given that is worse by as much hides nothing", none, func(s *Signoff) {
			s.times(always(1.1))
			s.Sums.Rows[0].Float = s.Sums.Rows[0].Fixed
			s.Loss[0].Rise, s.Loss[0].RiseLow, s.Loss[0].RiseHigh = value(0), value(0), value(0)
			s.follow()
		}, Worse, Same, Worse},
		{"the same errors against a better network as given", none, func(s *Signoff) {
			for i := range s.Sums.Rows[0].Float {
				s.Sums.Rows[0].Float[i] *= 0.9
			}
			s.Loss[0].Verdict = budget.Fail
			s.follow()
		}, Same, Same, Same},
		{"a verdict falls", none, judge(0.05, budget.NotEnough, budget.NotEnough),
			Worse, Same, Worse},
		{"a verdict falls as the tolerance is tighter", none, judge(0.01, budget.Fail, fits),
			Same, Same, Same},
		{"figures decide before verdicts", none, all(judge(0.05, budget.Fail, fits), errors(0.9)),
			Better, Same, Better},
		{"a looser tolerance makes nothing better", judge(0.01, budget.Fail, broken),
			judge(0.05, budget.Pass, fits), Same, Same, Same},
		{"a better verdict", verdict(broken), verdict(fits), Same, Same, Better},
		{"a better verdict, a worse row", verdict(broken), all(verdict(fits), errors(1.1)),
			Worse, Same, Mixed},
		{"a worse verdict, a better row", none, all(verdict(broken), errors(0.9)),
			Better, Same, Worse},
		{"exact bytes", none, weights(10), Same, Better, Better},
		{"estimated bytes within what may be off", none, code(codeOff), Same, Same, Same},
		{"estimated bytes beyond that", none, code(codeOff + 1), Same, Worse, Worse},
		{"a limit breaks within what may be off", limit(3100, budget.Pass),
			all(code(200), limit(3100, budget.Fail)), Same, Worse, Worse},
		{"a tighter limit makes nothing larger", none, limit(2000, budget.Fail), Same, Same, Same},
		{"smaller, under a limit that is tighter still", none,
			all(weights(500), limit(2000, budget.Fail)), Same, Better, Better},
		{"some better, some worse", none, all(weights(500), errors(1.1)), Worse, Better, Mixed},
		{"a row that one has alone", none, region, OnlyNew, Same, Same},
	} {
		t.Run(c.name, func(t *testing.T) {
			old, fresh := smallSignoff(), smallSignoff()
			c.before(old)
			c.before(fresh)
			c.change(fresh)
			got := Compare(old, fresh)
			loss, cost := got.Loss[0].Outcome, got.Cost[0].Outcome
			if got.Verdict != c.want || loss != c.loss || cost != c.cost {
				t.Errorf("%s, loss %s, flash %s; want %s, %s, %s", got.Verdict, loss, cost,
					c.want, c.loss, c.cost)
			}
			if got.Passes() != (c.want == Better || c.want == Same) {
				t.Errorf("Passes is %v", got.Passes())
			}
		})
	}
}

// Where errors are of other steps or of something else, no row is compared, whatever its figures
// and verdicts, and costs are all the same.
func TestErrorsThatCannotBeCompared(t *testing.T) {
	const (
		recordings = "other sign-off recordings"
		steps      = "other steps of the sign-off recordings"
		outputs    = "other outputs"
		row        = "leakage/all/rmse: no sums over sequences"
	)
	for _, c := range []struct {
		why    string
		change func(s *Signoff)
	}{
		{recordings, func(s *Signoff) { s.Inputs[2].SHA256 = "9" }},
		{recordings, func(s *Signoff) {
			s.Inputs = append(s.Inputs, budget.InputFile{
				Role: budget.SignoffRole, File: "more.csv", SHA256: "4"})
		}},
		{steps, func(s *Signoff) { s.Sums.Steps[3] = 90 }},
		{steps, func(s *Signoff) { s.Sums.Sequences[3] = "another" }},
		{outputs, func(s *Signoff) { s.Loss[0].Output, s.Sums.Rows[0].Output = "air", "air" }},
		{outputs, func(s *Signoff) { s.Loss[0].Unit = "L/s" }},
		{"the new sign-off has no sums over sequences", func(s *Signoff) { s.Sums = nil }},
		{"sums over so many sequences are left out of sign-offs", func(s *Signoff) {
			s.Sums = &SumsInfo{LeftOut: true}
		}},
		{row, func(s *Signoff) { s.Sums.Rows = nil }},
		{row, func(s *Signoff) { s.Sums.Rows[0].Fixed = s.Sums.Rows[0].Fixed[1:] }},
		{row, func(s *Signoff) { s.Sums.Rows[0].Fixed[2] = -1 }},
		{"leakage/all/rmse: other steps", func(s *Signoff) {
			s.Sums.Rows[0].Steps = append([]int{99}, s.Sums.Steps[1:]...)
		}},
		// The region of the name was another one.
		{"leakage/all/rmse: other steps", func(s *Signoff) {
			s.Sums.Rows[0].Where = "leakage at least 1"
		}},
	} {
		fresh := smallSignoff()
		fresh.times(always(0.5))
		c.change(fresh)
		fresh.Loss[0].Verdict = budget.Fail
		fresh.Cost[0].Value, fresh.Cost[2].Value = 990, 2990
		got := Compare(smallSignoff(), fresh)
		if got.Verdict != NotComparable || got.Why != c.why || got.Passes() {
			t.Errorf("%s: %s, %q", c.why, got.Verdict, got.Why)
		}
		for _, l := range got.Loss {
			isAlone := l.Outcome == OnlyNew || l.Outcome == OnlyOld
			if l.Outcome != NotComparable && !isAlone || l.Change != nil {
				t.Errorf("%s: the row is %s, changed by %v", c.why, l.Outcome, l.Change)
			}
		}
		if got.Cost[0].Outcome != Better {
			t.Errorf("%s: flash is %s", c.why, got.Cost[0].Outcome)
		}
		line := got.Line()
		if !strings.HasPrefix(line, "Comparison: not comparable: "+c.why+" (of ") {
			t.Errorf("%s: %s", c.why, line)
		}
	}
	old := smallSignoff()
	old.Sums = nil
	got := Compare(old, smallSignoff())
	if got.Verdict != NotComparable || got.Why != "the old sign-off has no sums over sequences" {
		t.Errorf("%s, %q", got.Verdict, got.Why)
	}
}

// The same sequences in another order, and under other names and in another file, are compared pair
// by pair; one with other outputs is not.
func TestSequencesAreFoundByTheirOutputs(t *testing.T) {
	withHashes := func() *Signoff {
		s := smallSignoff()
		for i := range s.Sums.Sequences {
			s.Sums.Recorded = append(s.Sums.Recorded, "hash"+strconv.Itoa(i))
		}
		return s
	}
	fresh := withHashes()
	fresh.times(always(1.2))
	fresh.Inputs[2].SHA256 = "9"
	sums := fresh.Sums
	slices.Reverse(sums.ScenarioOf)
	slices.Reverse(sums.Recorded)
	slices.Reverse(sums.Rows[0].Fixed)
	slices.Reverse(sums.Rows[0].Float)
	for i := range sums.Sequences {
		sums.Sequences[i] = "renamed" + strconv.Itoa(i)
	}
	got := Compare(withHashes(), fresh)
	if got.Verdict != Worse || math.Abs(*got.Loss[0].Change-0.2) > 1e-9 || *got.Loss[0].ChangeHigh >
		0.2+1e-9 {
		t.Errorf("%s, %q, %+v", got.Verdict, got.Why, got.Loss[0])
	}
	sums.Recorded[4] = "another"
	if got := Compare(withHashes(), fresh); got.Verdict != NotComparable ||
		got.Why != "other sign-off recordings" {
		t.Errorf("%s, %q", got.Verdict, got.Why)
	}
}

// A row that cannot be compared hides no verdict of the handoff that got worse.
func TestWorseBeforeNotComparable(t *testing.T) {
	fresh := smallSignoff()
	fresh.Sums.Rows[0].Fixed[2], fresh.Verdict = -1, budget.DoesNotFit
	got := Compare(smallSignoff(), fresh)
	if got.Verdict != Worse || got.Loss[0].Outcome != NotComparable {
		t.Errorf("%s, the row %s", got.Verdict, got.Loss[0].Outcome)
	}
}

// Recordings are the same whatever their file is called.
func TestRenamedRecordingsAreTheSame(t *testing.T) {
	fresh := smallSignoff()
	fresh.Inputs[2].File = "renamed.csv"
	fresh.times(always(1.1))
	if got := Compare(smallSignoff(), fresh); got.Verdict != Worse {
		t.Errorf("%s, %s", got.Verdict, got.Why)
	}
}

// metricOf turns the row of the small sign-off into one of another metric.
func metricOf(metric dataset.Metric, on budget.ToleranceOn, tolerance float64, sequences int,
	fixed float64) *Signoff {
	s := smallSignoff()
	sums := s.Sums
	sums.Sequences, sums.Steps = sums.Sequences[:sequences], sums.Steps[:sequences]
	sums.ScenarioOf = sums.ScenarioOf[:sequences]
	row := SumsRow{Output: "leakage", Metric: metric, Steps: sums.Steps}
	for i := range sequences {
		row.Float = append(row.Float, 90)
		row.Fixed = append(row.Fixed, fixed+0.1*float64(i%2))
		if metric == dataset.Explained {
			row.Whole = append(row.Whole, 100)
		}
	}
	sums.Rows = []SumsRow{row}
	l := &s.Loss[0]
	l.Metric, l.ToleranceOn, l.Tolerance = metric, on, &tolerance
	s.follow()
	return s
}

// Of every metric: which direction is worse, what a tenth of the tolerance is, and from how many
// sequences on there is an outcome. Sums of 100 steps.
func TestChangesOfEveryMetric(t *testing.T) {
	for _, c := range []struct {
		metric    dataset.Metric
		on        budget.ToleranceOn
		tolerance float64
		fewest    int
		old       float64
		same      float64 // less than a tenth off
		worse     float64
	}{
		{dataset.RMSE, "rise", 0.05, 2, 80, 80.7, 80.9},     // 0.5 % of the root
		{dataset.MAE, "fixed", 1, 2, 80, 89.9, 90.1},        // 0.1 of 0.8
		{dataset.MaxError, "fixed", 2, 6, 10, 10.19, 10.21}, // 0.2
		{dataset.Bias, "fixed", 1, 2, -20, -29.9, -30.1},    // of the magnitude
		{dataset.Accuracy, "rise", 0.15, 6, 90, 89, 88},     // 1.5 points
		{dataset.Agreement, "rise", 0.15, 12, 90, 89, 88},
		{dataset.Explained, "fixed", 0.8, 2, 10, 11.9, 12.1}, // 2 of the 20 points left unexplained
	} {
		for _, sequences := range []int{1, c.fewest - 1, c.fewest} {
			for _, change := range []struct {
				old, fresh float64
				want       Outcome
			}{
				{c.old, c.old, Same}, {c.old, c.same, Same},
				{c.old, c.worse, Worse}, {c.worse, c.old, Better},
			} {
				want := change.want
				if sequences < c.fewest && change.old != change.fresh {
					want = NotComparable
				}
				got := Compare(metricOf(c.metric, c.on, c.tolerance, sequences, change.old),
					metricOf(c.metric, c.on, c.tolerance, sequences, change.fresh))
				if l := got.Loss[0]; l.Outcome != want || got.Verdict != want {
					t.Errorf("%s of %d sequences from %g to %g: %s, in all %s; want %s", c.metric,
						sequences, change.old, change.fresh, l.Outcome, got.Verdict, want)
				}
				if want == NotComparable && !strings.Contains(got.Why, "too few") {
					t.Errorf("%s of %d sequences: %q", c.metric, sequences, got.Why)
				}
			}
		}
	}
}

// An agreement is with each one's own float network. Where the networks differ it says nothing,
// and the accuracy stands in its place.
func TestAgreementWithAnotherNetwork(t *testing.T) {
	of := func(float, recognised, agreed float64) *Signoff {
		s := metricOf(dataset.Agreement, "rise", 0.01, 12, agreed)
		row := SumsRow{Output: "leakage", Metric: dataset.Accuracy, Steps: s.Sums.Steps}
		for range 12 {
			row.Float, row.Fixed = append(row.Float, float), append(row.Fixed, recognised)
		}
		s.Sums.Rows = append(s.Sums.Rows, row)
		unjudged := s.Loss[0]
		unjudged.Metric, unjudged.Verdict = dataset.Accuracy, ""
		unjudged.Tolerance, unjudged.ToleranceOn = nil, ""
		s.Loss = append(s.Loss, unjudged)
		s.follow()
		return s
	}
	for metric, fresh := range map[dataset.Metric]*Signoff{
		"agreement": of(95, 94, 90), "accuracy": of(60, 59, 99.5),
	} {
		got := Compare(of(95, 94, 98), fresh)
		if len(got.Loss) != 1 || got.Loss[0].Metric != metric || got.Verdict != Worse {
			t.Errorf("%s: %s, %+v", metric, got.Verdict, got.Loss)
		}
	}
}

// Rows are those about the same place and metric, whatever their tolerances are on. What only one
// side judges is compared where the other has sums of it.
func TestRowsAreFoundWhateverIsJudged(t *testing.T) {
	old, fresh := smallSignoff(), smallSignoff()
	fresh.times(always(1.1))
	fresh.Loss[0].Tolerance, fresh.Loss[0].ToleranceOn = value(2), "fixed"
	mae := LossRow{RowName: everywhere("leakage", dataset.MAE), Unit: "L/min", Sequences: 12}
	old.Loss = append(old.Loss, mae)
	mae.Tolerance, mae.ToleranceOn, mae.Verdict = value(1), "fixed", budget.Pass
	fresh.Loss = append(fresh.Loss, mae)
	sums := fresh.Sums.Rows[0]
	sums.Metric = "mae"
	fresh.Sums.Rows = append(fresh.Sums.Rows, sums)
	var got []string
	for _, l := range Compare(old, fresh).Loss {
		got = append(got, fmt.Sprintf("%s %s %s>%s %s", l.Metric, l.ToleranceOn, l.OldVerdict,
			l.NewVerdict, l.Outcome))
	}
	// A tenth of 2 L/min is more than the change, a tenth of 5 % is less.
	want := "rmse fixed >pass same, rmse rise pass> worse, mae fixed >pass only in new"
	if strings.Join(got, ", ") != want {
		t.Errorf("got %s, want %s", strings.Join(got, ", "), want)
	}
}

// Rows of scenarios and regions are compared over their own sequences.
func TestRowsOfScenarios(t *testing.T) {
	of := func(factor func(int) float64) *Signoff {
		s := smallSignoff()
		for _, scenario := range s.Sums.Scenarios {
			row := s.Loss[0]
			row.Scenario, row.Sequences = scenario, 6
			s.Loss = append(s.Loss, row)
		}
		s.times(factor)
		return s
	}
	got := Compare(of(always(1)), of(func(i int) float64 { return 1 + 0.2*float64(i%2) }))
	for i, want := range []Outcome{Worse, Same, Worse} {
		if l := got.Loss[i]; l.Outcome != want {
			t.Errorf("%s: %s, %s; want %s", l.Scenario, l.Outcome, l.shownChange(), want)
		}
	}
	if change := *got.Loss[2].Change; math.Abs(change-0.2) > 1e-12 || *got.Loss[1].Change != 0 {
		t.Errorf("changes %g and %g, want 0 and 0.2", *got.Loss[1].Change, change)
	}
}

// A table says in its head what the change is of, and the change has its unit; where no row can be
// compared there is no such column.
func TestTablesOfChanges(t *testing.T) {
	for metric, want := range map[dataset.Metric]struct {
		change, low, high float64
		head, cell        string
	}{
		dataset.RMSE:      {0.1, 0.05, 0.15, "error change", "+10.0 % [5.0, 15.0]"},
		dataset.MaxError:  {-0.1, -0.2, 0, "error change", "-10.0 % [-20.0, 0.0]"},
		dataset.MAE:       {1e-5, -0.1, 0.1, "error change", "0.0 % [-10.0, 10.0]"},
		dataset.Bias:      {0.5, 0.25, 1.5, "size, new less old", "+0.5000 [0.2500, 1.500]"},
		dataset.Accuracy:  {-0.02, -0.03, -0.01, "share, new less old", "-2.0 points [-3.0, -1.0]"},
		dataset.Explained: {0.01, 0, 0.02, "share, new less old", "+1.0 points [0.0, 2.0]"},
	} {
		l := LossChange{RowName: everywhere("air", metric), Outcome: Same,
			Change: &want.change, ChangeLow: &want.low, ChangeHigh: &want.high}
		c := &Comparison{Loss: []LossChange{l}}
		got := c.lossTables()[0]
		if got.Head[3] != want.head || got.Rows[0][3] != want.cell {
			t.Errorf("%s: %q under %q, want %q under %q", metric, got.Rows[0][3], got.Head[3],
				want.cell, want.head)
		}
		c.Loss[0].Change, c.Loss[0].Outcome = nil, NotComparable
		got = c.lossTables()[0]
		rest := []string{"old", "new", "verdict", "outcome"}
		if !slices.Equal(got.Head[1:], rest) || len(got.Rows[0]) != 5 {
			t.Errorf("%s: columns %q", metric, got.Head)
		}
	}
}

// Hashes are cut to their first 16 digits, and an empty one, of a file that is not there, stays
// empty.
func TestShortHash(t *testing.T) {
	const digits = "0123456789abcdef"
	for hash, want := range map[string]string{"": "", "1": "1", digits: digits,
		digits + "0": digits + "...", digits + digits + digits + digits: digits + "..."} {
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
	fresh.Cost[3].Value, fresh.Cost[4].Value = 10200, 0.00102
	for _, c := range Compare(smallSignoff(), fresh).Cost[1:] {
		if share := c.Unknown / *c.New; math.Abs(share-cyclesOff) > 1e-9 || c.Outcome != Same {
			t.Errorf("%s: %.4f of the value may be off, outcome %s; want %.4f and same", c.Resource,
				share, c.Outcome, cyclesOff)
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
	const want = "feature b out, feature c in, unit 0 out, unit 2 in, front_end spectrum out"
	if strings.Join(got, ", ") != want {
		t.Errorf("got %s, want %s", strings.Join(got, ", "), want)
	}
	if len(c.Formats) != 1 || c.Formats[0].Old != 8 || c.Formats[0].New != 4 {
		t.Errorf("formats: %+v", c.Formats)
	}
}

// What a comparison takes as unknown is the largest deviation that docs/cost.md lists.
func TestUnknownIsTheLargestDeviation(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "docs", "cost.md"))
	if err != nil {
		t.Fatal(err)
	}
	row := regexp.MustCompile(`(?m)^\| \S+ \| (\S+) to (\S+) % \| \d+ \| (\S+) to (\S+) B \| ` +
		`\d+ \| (\S+) to (\S+) B \|`)
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
	if want := [3]float64{100 * cyclesOff, codeOff, stackOff}; len(rows) != 13 || largest != want {
		t.Errorf("docs/cost.md: %d cores, at most %v (%%, B, B); the comparison takes %v",
			len(rows), largest, want)
	}
}
