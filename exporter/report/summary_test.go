package report

import (
	"slices"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/exporter/emit"
)

// A summary counts the notes of the report, and is silent where there are none.
func TestSummaryCountsNotes(t *testing.T) {
	for want, warnings := range map[string][]string{"": nil, "1 note in signoff.md.": {"a"},
		"2 notes in signoff.md.": {"a", "b"}} {
		s := smallSignoff()
		s.Warnings = warnings
		got := ""
		for line := range strings.Lines(string(s.MergeSummary(nil, ""))) {
			if strings.Contains(line, "signoff.md") {
				got += strings.TrimSpace(line)
			}
		}
		if got != want {
			t.Errorf("%d notes: the summary says %q, want %q", len(warnings), got, want)
		}
	}
}

// The table of targets has a column per total, not per part, and a row per target, also where a
// target has no such total.
func TestTargetTableHasTotals(t *testing.T) {
	s := smallSignoff()
	s.Cost = append(s.Cost, CostRow{Target: "avr", Resource: budget.RAM, Part: "state", Value: 12,
		Unit: "B"},
		CostRow{Target: "avr", Resource: budget.RAM, Part: budget.Total, Value: 20, Unit: "B",
			Limit: value(16), Verdict: budget.Fail})
	got := s.targetTable()
	if want := []string{"target", "flash", "cycles", "step time", "ram",
		"limits"}; !slices.Equal(got.Head, want) {
		t.Errorf("columns %q, want %q", got.Head, want)
	}
	for i, want := range [][]string{{"m4", "2.9 KiB", "10 000", "1 ms", "", "met"},
		{"avr", "", "", "", "20 B", "broken: ram"}} {
		if i >= len(got.Rows) || !slices.Equal(got.Rows[i], want) {
			t.Errorf("rows %q, want row %d to be %q", got.Rows, i, want)
		}
	}
}

// Each target has the compiler that its figures hold for, on the line of cycles and code, whatever
// shows them; where there is no estimate for it no figure stands there that is one of another.
func TestCompilerStandsBesideCost(t *testing.T) {
	s := smallSignoff()
	s.Build = []emit.BuildTarget{{Name: "m4", Compiler: "GCC 12.2.1", Optimise: "-Os"}}
	for i := range s.Cost {
		if c := &s.Cost[i]; c.Kind == "estimated" {
			c.Kind, c.Compiler, c.Known = budget.NotEstimated, "GCC 12.2.1 -O1", value(0)
		}
	}
	s.Total("m4", budget.Flash).Known = value(1000)
	s.Total("m4", budget.Flash).Verdict, s.Verdict = budget.NoEstimate, budget.NoEstimate
	s.Reason = s.WhyNot()
	if want := "m4/flash cannot be judged: no estimate for GCC 12.2.1 -Os; see kerf plan " +
		"job.toml --measure"; s.Reason != want {
		t.Errorf("reason %q, want %q", s.Reason, want)
	}
	targets := s.targetTable()
	if got, want := targets.Rows[0], []string{"m4", "at least 1000 B", "no estimate",
		"no estimate", "no estimate for these flags: flash", "GCC 12.2.1 -Os"}; !slices.Equal(got,
		want) {
		t.Errorf("row %q, want %q", got, want)
	}
	all := s.AllCostTables()[0]
	for _, row := range all.Rows {
		want := []string{"no estimate", "GCC 12.2.1 -Os"}
		switch row[1] {
		case "flash: weights":
			want = []string{"1000 B", ""}
		case "flash":
			want[0] = "at least 1000 B"
		}
		if got := []string{row[2], row[len(row)-1]}; !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", row[1], got, want)
		}
	}
	if title := s.CostTables(false)[0].Title; !strings.HasSuffix(title, ", GCC 12.2.1 -Os") {
		t.Errorf("title %q", title)
	}
	csv, err := s.CSV()
	if err != nil || !strings.Contains(string(csv), ",GCC 12.2.1 -O1,1000\n") {
		t.Errorf("CSV %s, %v", csv, err)
	}
	if got := s.JudgedCost()[0]; got.Used != nil || got.UpTo != "at least 1000 B" {
		t.Errorf("judged row %+v", got)
	}
	if junit, err := s.JUnit(); err != nil || !strings.Contains(string(junit),
		"no estimate for these flags: at least 1000 B, limit 3.9 KiB") {
		t.Errorf("test report %s, %v", junit, err)
	}
}

// The first line of a summary says how the handoff compares, before anything else.
func TestSummaryBeginsWithTheOutcome(t *testing.T) {
	for want, change := range map[string]func(s *Signoff){
		"; same as old/handoff within what was measured": func(*Signoff) {},
		"; worse than old/handoff":                       func(s *Signoff) { s.times(always(1.1)) },
		"; better than old/handoff":                      func(s *Signoff) { s.times(always(0.9)) },
		"; in part better and in part worse than old/handoff": func(s *Signoff) {
			s.times(always(1.1))
			s.Cost[0].Value, s.Cost[2].Value = 500, 2500
		},
		"; not comparable with old/handoff: other sign-off recordings": func(s *Signoff) {
			s.Inputs[2].SHA256 = "9"
		},
	} {
		s := smallSignoff()
		change(s)
		summary := string(s.MergeSummary(Compare(smallSignoff(), s), "old/handoff"))
		first, _, _ := strings.Cut(summary, "\n")
		if !strings.HasPrefix(first, "### leakair: fits (") || !strings.HasSuffix(first, ")"+want) {
			t.Errorf("%q, want %q at the end", first, want)
		}
	}
}

// What changed stands in the summary with its interval.
func TestSummaryShowsTheChange(t *testing.T) {
	s := smallSignoff()
	s.times(always(1.1))
	text := string(s.MergeSummary(Compare(smallSignoff(), s), "old"))
	want := `| leakage/all/rmse | 1.020 L/min | 1.122 L/min | +10.0 % \[10.0, 10.0\] | worse |`
	if !strings.Contains(text, want) {
		t.Errorf("%s\nwant %s", text, want)
	}
}
