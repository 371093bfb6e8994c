package main

import (
	"fmt"
	"io"
	"strings"

	"kerf/budget"
	"kerf/exporter/report"
)

// signoffResult is what plan, export, demo and show print: the sign-off of a handoff. Formats other
// than text are those of the files of the handoff.
type signoffResult struct {
	*report.Signoff
	handoff string // the folder, or what show was given
	all     bool   // text has everything, not the first screen
	file    func(format string) ([]byte, error)
}

// isBroken reports whether the verdict is any but "fits".
func (r *signoffResult) isBroken() bool { return r.Verdict != budget.Fits }

// inFormat returns a file of the handoff.
func (r *signoffResult) inFormat(format string) ([]byte, error) { return r.file(format) }

// tables returns the tables of what is judged.
func (r *signoffResult) tables() []report.Table {
	tables := append(r.AccuracyTables(), r.ChainTables()...)
	if worst := r.ExtremeTable(); len(worst.Rows) > 0 {
		tables = append(tables, worst)
	}
	tables = append(tables, r.CostTables(false)...)
	tables = append(tables, r.FrontierTables()...)
	return append(tables, r.InputTable(false))
}

// text prints the first screen, or all: the verdict in front of the tables, and legend, notes and
// lines to sign below.
func (r *signoffResult) text(w io.Writer, p page) error {
	if !r.all {
		return r.firstScreen(w, p)
	}
	s := r.Signoff
	fmt.Fprintf(w, "Sign-off: %s (kerf %s)\n%s\n\n", s.Name, report.Visible(s.Kerf),
		p.wrap(s.VerdictLine(), 2))
	for _, line := range s.Summary() {
		fmt.Fprintln(w, p.wrap(line, 2))
	}
	fmt.Fprintln(w)
	if err := p.printTexts(w, r.tables()); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n"+p.wrap(s.Legend(), 0))
	if worst := s.WorstFaults(); len(worst) > 0 {
		fmt.Fprintln(w, "\n"+p.wrap(s.FaultsNote(), 0)+"\n")
		for _, line := range worst {
			fmt.Fprintln(w, p.wrap(line, 2))
		}
	}
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
		fmt.Fprintln(w, p.signature(role))
	}
	_, err := fmt.Fprintf(w, "\nHandoff: %s\n", report.Visible(r.handoff))
	return err
}

// signature returns a line on which somebody signs in a role, no longer than the usual width. The
// blanks for name, date and signature are as 20 to 12 to 14 (our choice), and those of the
// narrowest page have 12 characters together.
func (p page) signature(role string) string {
	const words = "Prepared  name   date   signature "
	room := max(min(p.width, usualWidth)-len(words), 12)
	name, date := room*20/46, room*12/46
	line := func(n int) string { return strings.Repeat("_", n) }
	return fmt.Sprintf("%-9s name %s  date %s  signature %s", role, line(name), line(date),
		line(room-name-date))
}
