package exporter

import (
	"slices"
	"strings"
	"testing"

	"kerf/budget"
)

// A summary counts the notes of the report, and is silent where there are none.
func TestSummaryCountsNotes(t *testing.T) {
	for want, warnings := range map[string][]string{"": nil, "1 note in signoff.md.": {"a"}, "2 notes in signoff.md.": {"a", "b"}} {
		s := smallSignoff()
		s.Warnings = warnings
		got := ""
		for line := range strings.Lines(string(s.MergeSummary(nil))) {
			if strings.Contains(line, "signoff.md") {
				got += strings.TrimSpace(line)
			}
		}
		if got != want {
			t.Errorf("%d notes: the summary says %q, want %q", len(warnings), got, want)
		}
	}
}

// The table of targets has a column per total, not per part, and a row per target, also where a target has no such total.
func TestTargetTableHasTotals(t *testing.T) {
	s := smallSignoff()
	s.Cost = append(s.Cost, CostRow{Target: "avr", Resource: budget.RAM, Part: "state", Value: 12, Unit: "B"},
		CostRow{Target: "avr", Resource: budget.RAM, Part: budget.Total, Value: 20, Unit: "B", Limit: value(16), Verdict: budget.Fail})
	got := s.targetTable()
	if want := []string{"target", "flash", "cycles", "step time", "ram", "limits"}; !slices.Equal(got.Head, want) {
		t.Errorf("columns %q, want %q", got.Head, want)
	}
	for i, want := range [][]string{{"m4", "2.9 KiB", "10 000", "1 ms", "", "met"}, {"avr", "", "", "", "20 B", "broken: ram"}} {
		if i >= len(got.Rows) || !slices.Equal(got.Rows[i], want) {
			t.Errorf("rows %q, want row %d to be %q", got.Rows, i, want)
		}
	}
}
