package report

import (
	"bytes"
	"cmp"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/budget"
)

// The verdicts of a sign-off follow from the figures beside them: a limit is kept up to its value,
// and a row has a verdict if it has a limit or a tolerance.
func TestVerdictsFollowFromFigures(t *testing.T) {
	flash := func(s *Signoff) *CostRow { return &s.Cost[2] } // within its limit
	for name, c := range map[string]struct {
		change func(s *Signoff)
		want   string // part of the error; empty: none
	}{
		"as it is":     {func(*Signoff) {}, ""},
		"at the limit": {func(s *Signoff) { flash(s).Value = 4000 }, ""},
		"beyond the limit": {func(s *Signoff) {
			flash(s).Value = 4001
		}, `has the verdict "pass", its figures give "fail"`},
		"beyond, and so judged": {func(s *Signoff) {
			flash(s).Value, flash(s).Verdict, s.Verdict = 4001, budget.Fail, budget.DoesNotFit
		}, ""},
		"beyond, and it fits": {func(s *Signoff) {
			flash(s).Value, flash(s).Verdict = 4001, budget.Fail
		}, "its rows and causes give"},
		"at the least": {func(s *Signoff) {
			flash(s).Value, flash(s).AtLeast = 4000, true
		}, ""},
		"below the least": {func(s *Signoff) {
			flash(s).AtLeast = true
		}, `its figures give "fail"`},
		"no estimate": {func(s *Signoff) {
			flash(s).Kind, flash(s).Known = budget.NotEstimated, value(3999)
			flash(s).Verdict, s.Verdict = budget.NoEstimate, budget.NoEstimate
		}, ""},
		"no estimate, and yet it passes": {func(s *Signoff) {
			flash(s).Kind, flash(s).Known = budget.NotEstimated, value(3999)
		}, `its figures give "no estimate for these flags"`},
		"no estimate, and yet it fits": {func(s *Signoff) {
			flash(s).Kind, flash(s).Known = budget.NotEstimated, value(3999)
			flash(s).Verdict = budget.NoEstimate
		}, `its rows and causes give "no estimate for these flags"`},
		"no estimate, beyond the limit without it": {func(s *Signoff) {
			flash(s).Kind, flash(s).Known = budget.NotEstimated, value(4001)
			flash(s).Verdict, s.Verdict = budget.Fail, budget.DoesNotFit
		}, ""},
		"a verdict, no limit": {func(s *Signoff) {
			s.Cost[3].Verdict = budget.Pass
		}, `its figures give ""`},
		"a limit, no verdict": {func(s *Signoff) {
			flash(s).Verdict = ""
		}, `its figures give "pass"`},
		"no tolerance": {func(s *Signoff) {
			s.Loss[0].Tolerance = nil
		}, "a verdict without a tolerance"},
		"enough recordings": {func(s *Signoff) {
			s.Loss[0].Verdict = budget.NotEnough
		}, `its figures give "pass"`},
		"too few recordings": {func(s *Signoff) {
			s.Loss[0].Sequences = 1
		}, `its figures give "not enough recordings"`},
		"an end that is beyond": {func(s *Signoff) {
			s.Loss[0].RiseHigh = value(0.06)
		}, `its figures give "not enough recordings"`},
		"a rise that is beyond": {func(s *Signoff) {
			s.Loss[0].Rise = value(0.06)
		}, `its figures give "fail"`},
		"a rise without an end": {func(s *Signoff) {
			s.Loss[0].RiseHigh = nil
		}, `its figures give "not enough recordings"`},
		"against the network": {func(s *Signoff) {
			s.Causes = []CauseRow{{Kind: budget.CauseLines, Place: "features.csv lines 2 and 3",
				Text: "features.csv lines 2 and 3 seem exchanged"}}
		}, `its rows and causes give "does not fit"`},
		"against it, and so judged": {func(s *Signoff) {
			s.Causes = []CauseRow{{Kind: budget.CauseLines, Place: "features.csv lines 2 and 3",
				Text: "features.csv lines 2 and 3 seem exchanged"}}
			s.Verdict, s.Reason, s.Explained = budget.DoesNotFit,
				"features.csv lines 2 and 3 seem exchanged; see the first note", []ExplainedRow{}
		}, ""},
		"against it, checked": {func(s *Signoff) {
			s.Causes = []CauseRow{{Kind: budget.CauseLines, Place: "features.csv lines 2 and 3",
				Text: "features.csv lines 2 and 3 seem exchanged"}}
			s.Checked = "measured with both"
		}, ""},
		"explains little": {func(s *Signoff) {
			s.Explained = []ExplainedRow{{Output: "leakage", On: budget.SignoffSet,
				Scope: budget.Scope{Scenario: "all"},
				Given: value(0.05), GivenHigh: value(0.2)}}
		}, "explains too little"},
		"nothing independent": {func(s *Signoff) { s.Verdict = budget.NotEnough }, ""},
	} {
		s := smallSignoff()
		c.change(s)
		err := cmp.Or(s.CheckVerdicts(), s.checkReason())
		if c.want == "" && err != nil || c.want != "" &&
			(err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: got %v, want an error with %q", name, err, c.want)
		}
	}
}

// A reason in other words than those of the rows is refused where the text must be exact.
func TestReasonIsThatOfTheRows(t *testing.T) {
	s := smallSignoff()
	s.Inputs = []budget.InputFile{{Role: "job", File: "job.toml",
		SHA256: strings.Repeat("0", 64)}}
	s.Explained, s.Reason = []ExplainedRow{}, "of another kerf"
	text, err := s.JSON()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Read(text); err == nil || !strings.Contains(err.Error(), "the reason is") {
		t.Errorf("got %v, want an error about the reason", err)
	}
}

// The file that tests of other packages read is the small sign-off, with the hash of a job file.
func TestSmallSignoffIsOnFile(t *testing.T) {
	s := smallSignoff()
	s.Inputs[0].SHA256 = strings.Repeat("0", 64)
	want, err := s.JSON()
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join("testdata", "small.json")
	if os.Getenv("KERF_UPDATE_SMALL") != "" {
		if err := os.WriteFile(file, want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if got, err := os.ReadFile(file); err != nil || !bytes.Equal(got, want) {
		t.Errorf("%s differs from what smallSignoff makes (%v); KERF_UPDATE_SMALL=1 writes it",
			file, err)
	}
}
