package main

import (
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/budget"
)

// rankedCity ranks the open data set without its scores, on some of its selection sequences.
func rankedCity(t *testing.T, shapley bool, sequences int) *rankResult {
	t.Helper()
	in, err := budget.Load(filepath.Join("..", "..", "testdata", "cityweather", "job.toml"))
	if err != nil {
		t.Fatal(err)
	}
	in.Scores = nil
	in.Selection.Sequences = in.Selection.Sequences[:sequences]
	a := &app{stdout: io.Discard, ui: newUI(io.Discard)}
	r, err := a.rank(t.Context(), in, shapley)
	if err != nil {
		t.Fatal(err)
	}
	return newRankResult(in, r)
}

// What was played and drawn stands in fields of its own, and every table with a standard error says
// what is in it.
func TestRankSaysHowScoresWereComputed(t *testing.T) {
	r := rankedCity(t, true, 3)
	var of []string
	for i, m := range r.Methods {
		of = append(of, m.Of)
		if m.Players != []int{12, 4, 7, 12}[i] || m.Backgrounds != 2 || m.Others != 2 ||
			m.AllSubsets != (m.Pairs == nil) {
			t.Errorf("%+v", m)
		}
	}
	if !slices.Equal(of, []string{"features", "channels", "kinds", "units"}) ||
		!r.Methods[1].AllSubsets {
		t.Errorf("methods %v, %+v", of, r.Methods)
	}
	with := 0
	for _, table := range r.tables() {
		if slices.Contains(table.Head, "std. error") {
			with++
			if !strings.Contains(table.Title, "std. error with the draw of backgrounds") {
				t.Errorf("the table %q does not say what is in its standard errors", table.Title)
			}
		}
	}
	if with != 2 {
		t.Errorf("%d tables have standard errors", with)
	}
}

// A single sequence is its own background, half by half. That is said, and no standard error is
// given.
func TestRankOfOneSequence(t *testing.T) {
	r := rankedCity(t, false, 1)
	if len(r.Methods) != 1 || r.Methods[0].Others != 0 {
		t.Errorf("methods %+v", r.Methods)
	}
	for _, f := range r.Features {
		if f.StdError != nil || f.Share == nil || !(*f.Share > 0) {
			t.Errorf("%+v", f)
		}
	}
	saysSo := func(f findingRow) bool {
		return strings.Contains(f.Finding, "one sequence: what is absent follows its other half")
	}
	if !slices.ContainsFunc(r.Findings, saysSo) {
		t.Errorf("findings %+v", r.Findings)
	}
	two := rankedCity(t, false, 2)
	if slices.ContainsFunc(two.Findings, saysSo) || two.Features[0].StdError == nil {
		t.Errorf("of two sequences %+v", two.Findings)
	}
}
