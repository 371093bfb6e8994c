package main

import (
	"fmt"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/exporter"
)

// printSignoff is the report on the terminal: what is judged.
func (a *app) printSignoff(s *exporter.Signoff, dir string) error {
	w, p := a.stdout, a.page
	fmt.Fprintf(w, "Sign-off: %s (kerf %s)\n%s\n\n", s.Name, exporter.Visible(s.Kerf), exporter.Visible(s.VerdictLine()))
	for _, line := range s.Summary() {
		fmt.Fprintln(w, p.wrap(line, 2))
	}
	tables := accuracyTables(s)
	if worst := s.ExtremeTable(); len(worst.Rows) > 0 {
		tables = append(tables, worst)
	}
	tables = append(tables, costTables(s, false)...)
	if near := s.FrontierTable(); len(near.Rows) > 0 {
		tables = append(tables, near)
	}
	tables = append(tables, inputTable(s))
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
	for _, role := range exporter.Signatures {
		fmt.Fprintf(w, "%-9s name ____________________  date ____________  signature ______________\n", role)
	}
	_, err := fmt.Fprintf(w, "\nHandoff: %s\n", exporter.Visible(dir))
	return err
}

// accuracyTables splits the judged rows by output and metric: what one table
// compares has one unit. The kind of all of them is in the title.
func accuracyTables(s *exporter.Signoff) []exporter.Table {
	var tables []exporter.Table
	all := s.AccuracyTable(false)
	kind := len(all.Head) - 2
	index := map[string]int{}
	for _, row := range all.Rows {
		subject := fmt.Sprintf("%s: %s", row[0], row[2])
		at, known := index[subject]
		if !known {
			at = len(tables)
			index[subject] = at
			head := append([]string{subject}, slices.Delete(slices.Clone(all.Head), kind, kind+1)[3:]...)
			tables = append(tables, exporter.Table{Title: fmt.Sprintf("%s (%s)", all.Title, row[kind]), Head: head, Numbers: 1, Words: 1})
		}
		t := &tables[at]
		t.Rows = append(t.Rows, append([]string{row[1]}, slices.Delete(slices.Clone(row), kind, kind+1)[3:]...))
	}
	return tables
}

// costTables splits the cost by target. With parts it also says what the choice
// frees, and what the weights take in RAM where that matters.
func costTables(s *exporter.Signoff, parts bool) []exporter.Table {
	tables := byTarget(s.CostTable(parts))
	if parts {
		tables = append(tables, byTarget(s.FreedTable())...)
		tables = append(tables, byTarget(s.PlaceTable())...)
	}
	return tables
}

// byTarget splits a table by its first column, which then heads each part.
func byTarget(all exporter.Table) []exporter.Table {
	var tables []exporter.Table
	for _, row := range all.Rows {
		if len(tables) == 0 || tables[len(tables)-1].Head[0] != row[0] {
			tables = append(tables, exporter.Table{Title: all.Title, Head: append([]string{row[0]}, all.Head[2:]...), Numbers: 1, Words: all.Words})
		}
		t := &tables[len(tables)-1]
		t.Rows = append(t.Rows, row[1:])
	}
	return tables
}

// inputTable shortens the hashes to what identifies a file in practice; the
// files of the handoff have them whole.
func inputTable(s *exporter.Signoff) exporter.Table {
	t := s.InputTable()
	for _, row := range t.Rows {
		row[2] = exporter.ShortHash(row[2])
	}
	return t
}

// pathTables is the path of the cut, what each step that was taken leaves on
// every target, and what stays in the end.
func pathTables(s *exporter.Signoff) []exporter.Table {
	all := s.PathTable()
	steps := exporter.Table{Title: all.Title, Head: []string{"item", "outcome", "F", "U", "may reach", "limit", "tightest row"}, Numbers: 2, Words: 1}
	names := make([]string, len(all.Rows))
	for i, row := range all.Rows {
		names[i] = strings.TrimPrefix(row[0], budget.FeatureItem+" ")
		together := strings.Split(names[i], ", ")
		for _, name := range together[1:] { // what goes together is measured together
			steps.Rows = append(steps.Rows, []string{together[0], row[2], "", "", "", "", ""})
			together[0] = name
			if s.Path[i].Item == budget.UnitItem {
				together[0] = "unit " + name
			}
		}
		names[i] = together[0]
		steps.Rows = append(steps.Rows, []string{names[i], row[2], row[3], row[4], row[7], row[8], row[5]})
	}
	tables := []exporter.Table{steps}
	if near := s.FrontierTable(); len(near.Rows) > 0 {
		tables = append(tables, near)
	}
	for t, target := range s.TargetNames() {
		left := exporter.Table{Title: "What each cut leaves", Head: []string{target, "flash", "cycles"}, Numbers: 1}
		for i, p := range s.Path {
			if p.Taken {
				left.Rows = append(left.Rows, []string{names[i], exporter.Quantity(p.Flash[t], "B"), exporter.Quantity(p.Cycles[t], "cycles")})
			}
		}
		if len(left.Rows) > 0 {
			tables = append(tables, left)
		}
	}
	if legend := s.FrontierLegend(); legend != "" {
		tables = append(tables, sentenceTable("How to read the candidates", []string{legend}))
	}
	kept := exporter.Table{Title: "What stays", Head: []string{"of the", "kept"}, Numbers: 2, Rows: [][]string{
		{"features", strings.Join(s.Kept.Features, ", ")},
		{"units", joinUnits(s.Kept.Units)},
	}}
	return append(tables, kept)
}
