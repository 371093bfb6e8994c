package main

import (
	"fmt"

	"kerf/dataset"
	"kerf/exporter/report"
)

// printSignoff is the report on the terminal: what is judged.
func (a *app) printSignoff(s *report.Signoff, dir string) error {
	w, p := a.stdout, a.page
	fmt.Fprintf(w, "Sign-off: %s (kerf %s)\n%s\n\n", s.Name, report.Visible(s.Kerf),
		p.wrap(s.VerdictLine(), 2))
	for _, line := range s.Summary() {
		fmt.Fprintln(w, p.wrap(line, 2))
	}
	tables := s.AccuracyTables()
	if worst := s.ExtremeTable(); len(worst.Rows) > 0 {
		tables = append(tables, worst)
	}
	tables = append(tables, s.CostTables(false)...)
	if near := s.FrontierTable(); len(near.Rows) > 0 {
		tables = append(tables, near)
	}
	tables = append(tables, s.InputTable(false))
	fmt.Fprintln(w)
	if err := p.printTexts(w, tables); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n"+p.wrap(s.Legend(), 0))
	if legend := s.FrontierLegend(); legend != "" {
		fmt.Fprintln(w, "\n"+p.wrap(legend, 0))
	}
	if len(s.Warnings) > 0 {
		fmt.Fprintln(w, "\nNotes")
		for i, note := range s.Warnings {
			fmt.Fprintln(w, p.wrap(fmt.Sprintf("%2d. %s", i+1, note), 4))
		}
	}
	fmt.Fprintf(w, "\n%s\n\n", p.wrap(s.Caution, 0))
	for _, role := range report.Signatures {
		fmt.Fprintf(w, "%-9s name ____________________  date ____________  signature "+
			"______________\n", role)
	}
	_, err := fmt.Fprintf(w, "\nHandoff: %s\n", report.Visible(dir))
	return err
}

// pathTables is the path of the cut, what each step that was taken leaves on
// every target, and what stays in the end.
func pathTables(s *report.Signoff) []report.Table {
	tables := []report.Table{s.StepTable()}
	if near := s.FrontierTable(); len(near.Rows) > 0 {
		tables = append(tables, near)
	}
	tables = append(tables, s.LeftTables()...)
	if legend := s.FrontierLegend(); legend != "" {
		tables = append(tables, sentenceTable("How to read the candidates", []string{legend}))
	}
	kept := report.Table{Title: "What stays", Head: []string{"of the", "kept"}, Numbers: 2,
		Rows: [][]string{
			{"features", dataset.ListNames(s.Kept.Features)},
			{"units", joinUnits(s.Kept.Units)},
		}}
	return append(tables, kept)
}
