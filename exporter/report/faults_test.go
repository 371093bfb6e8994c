package report

import (
	"bytes"
	"encoding/csv"
	"math"
	"slices"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"
	"kerf/quant"
)

// faultySignoff is the small sign-off with invented errors of two features at fault.
func faultySignoff() *Signoff {
	s := smallSignoff()
	f := &budget.Faults{Sequences: 3, Recorded: 4, Steps: 1200}
	for i, feature := range []string{"a", "b"} {
		for k, fault := range quant.EveryFault {
			value := float64(k)
			if fault == quant.Stuck {
				value = math.NaN()
			}
			f.Rows = append(f.Rows, budget.FaultRow{Feature: feature, Unit: "bar", Fault: fault,
				Value: value, Output: "leakage", Metric: dataset.RMSE, OutUnit: "L/min",
				Without: 0.5, With: 0.5 * float64(1+k*(1+14*i))},
				budget.FaultRow{Feature: feature, Unit: "bar", Fault: fault, Value: value,
					Output: "state", Metric: dataset.Accuracy, Without: 0.75,
					With: 0.75 - 0.125*float64(k)})
		}
	}
	s.Faults = faultsInfo(f)
	return s
}

// The table has the feature first whose worst fault does most; errors as factors, shares of steps
// as what they lose.
func TestFaultTable(t *testing.T) {
	got := faultySignoff().FaultTable().Rows
	want := [][]string{
		{"leakage", "b", "rmse", "0.5000 L/min", "x 1.00", "x 16.0", "x 31.0", "x 46.0"},
		{"leakage", "a", "rmse", "0.5000 L/min", "x 1.00", "x 2.00", "x 3.00", "x 4.00"},
		{"state", "a", "accuracy", "75.0 %", "0.0 points", "12.5 points", "25.0 points",
			"37.5 points"},
		{"state", "b", "accuracy", "75.0 %", "0.0 points", "12.5 points", "25.0 points",
			"37.5 points"},
	}
	if len(got) != len(want) {
		t.Fatalf("%d rows, want %d", len(got), len(want))
	}
	for i := range want {
		if !slices.Equal(got[i], want[i]) {
			t.Errorf("row %d is %q, want %q", i, got[i], want[i])
		}
	}
	none := FaultRow{With: 0.25, Unit: "L/min"}
	hundreds := FaultRow{Factor: value(123.4)}
	if none.shown() != "0.2500 L/min" || hundreds.shown() != "x 123" {
		t.Errorf("shown as %q and %q", none.shown(), hundreds.shown())
	}
}

// A line per output names the worst fault, the note says what was measured, and CSV and Markdown
// have every row. A sign-off of an older kerf has nothing of all that, and is read as it is.
func TestFaultsInEveryRendering(t *testing.T) {
	s := faultySignoff()
	if got, want := s.WorstFaults(), []string{
		"leakage: worst with b at its mean (3.000 bar): rmse 23.000 L/min, without a fault " +
			"0.5000 L/min",
		"state: worst with a at its mean (3.000 bar): accuracy 37.5 %, without a fault 75.0 %",
	}; !slices.Equal(got, want) {
		t.Errorf("lines %q, want %q", got, want)
	}
	const on = "3 of the 4 sequences of the sign-off recordings"
	if note := s.FaultsNote(); !strings.Contains(note, on) ||
		!strings.Contains(note, "from half of each sequence on, and the 1 200 steps") {
		t.Errorf("note %q", note)
	}
	if text := string(s.Markdown()); !strings.Contains(text,
		"| leakage | b | rmse | 0.5000 L/min | x 1.00 | x 16.0 |") || !strings.Contains(text, on) {
		t.Errorf("Markdown has no faults:\n%s", text)
	}
	text, err := s.CSV()
	if err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := func(row []string, column string) string { return row[slices.Index(csvHead, column)] }
	n := 0
	for _, row := range all {
		if row[0] != "fault" {
			continue
		}
		if n++; at(row, "text") == "b" && at(row, "part") == "lowest" &&
			at(row, "output") == "leakage" && (at(row, "value") != "8" ||
			at(row, "fixed") != "0.5" || at(row, "rise") != "15" || at(row, "steps") != "1200") {
			t.Errorf("row %q", row)
		}
	}
	if n != 16 {
		t.Errorf("%d rows of faults", n)
	}
	s.Inputs[0].SHA256 = strings.Repeat("0", 64)
	for _, faults := range []*FaultsInfo{s.Faults, nil} {
		s.Faults = faults
		text, err := s.JSON()
		if err != nil {
			t.Fatal(err)
		}
		read, err := Read(text)
		if err != nil || (read.Faults == nil) != (faults == nil) {
			t.Errorf("read back: %v", err)
		}
	}
	if len(s.WorstFaults()) != 0 || s.FaultsNote() != "" || len(s.FaultTable().Rows) != 0 ||
		strings.Contains(string(s.Markdown()), "at fault") {
		t.Error("a report without faults speaks of them")
	}
}
