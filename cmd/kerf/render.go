package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/olekukonko/tablewriter"
	"github.com/olekukonko/tablewriter/renderer"
	"github.com/olekukonko/tablewriter/tw"
	"github.com/spf13/cobra"

	"kerf/budget"
	"kerf/exporter"
)

// lineWidth is the width of a terminal that shows every table whole.
const lineWidth = 80

func formatFlag(cmd *cobra.Command, format *string) {
	cmd.Flags().StringVar(format, "format", "text", "text, markdown, csv or json")
}

// printTables prints tables in one of the formats of --format.
func (a *app) printTables(format string, tables ...exporter.Table) error {
	a.ui.endProgress()
	switch format {
	case "text":
		return printTexts(a.stdout, tables)
	case "markdown":
		_, err := io.WriteString(a.stdout, exporter.MarkdownTables(tables))
		return err
	case "csv":
		return printCSV(a.stdout, tables)
	case "json":
		encoder := json.NewEncoder(a.stdout)
		encoder.SetIndent("", "  ")
		return encoder.Encode(tables)
	}
	return &usageError{fmt.Sprintf("--format: %q is not a format", format), "text, markdown, csv or json"}
}

// printTexts draws tables for the terminal. Tables in a row that have one title
// stand below it.
func printTexts(w io.Writer, tables []exporter.Table) error {
	title := ""
	for i, t := range tables {
		t = t.Visible()
		if i > 0 {
			fmt.Fprintln(w)
		}
		if t.Title != title {
			title = t.Title
			fmt.Fprintf(w, "%s\n\n", title)
		}
		if err := printText(w, t); err != nil {
			return err
		}
	}
	return nil
}

// printText draws one table: a head, a line, columns without lines between them.
func printText(w io.Writer, t exporter.Table) error {
	if len(t.Rows) == 0 {
		fmt.Fprintln(w, "  nothing to show")
		return nil
	}
	alignment := make(tw.Alignment, len(t.Head))
	for i := range alignment {
		alignment[i] = tw.AlignLeft
		if t.RightAligned(i) {
			alignment[i] = tw.AlignRight
		}
	}
	last := len(t.Head) - 1
	var drawn strings.Builder
	table := tablewriter.NewTable(&drawn,
		tablewriter.WithRenderer(renderer.NewBlueprint(tw.Rendition{
			Borders:  tw.BorderNone,
			Symbols:  tw.NewSymbols(tw.StyleASCII),
			Settings: tw.Settings{Separators: tw.Separators{BetweenColumns: tw.Off, BetweenRows: tw.Off, ShowHeader: tw.On}},
		})),
		tablewriter.WithConfig(tablewriter.Config{
			Header: tw.CellConfig{Formatting: tw.CellFormatting{AutoFormat: tw.Off, AutoWrap: tw.WrapNone}, Padding: columnGap},
			Row: tw.CellConfig{
				Formatting:   tw.CellFormatting{AutoWrap: tw.WrapNormal},
				Padding:      columnGap,
				ColMaxWidths: tw.CellWidth{PerColumn: tw.NewMapper[int, int]().Set(last, roomForLast(t))},
			},
		}),
		tablewriter.WithAlignment(alignment),
	)
	table.Header(t.Head)
	if err := table.Bulk(t.Rows); err != nil {
		return err
	}
	if err := table.Render(); err != nil {
		return err
	}
	_, err := io.WriteString(w, trimmed(drawn.String()))
	return err
}

// trimmed takes the blanks off the end of every line and makes the rule below
// the head as long as the longest line.
func trimmed(drawn string) string {
	lines := strings.Split(strings.TrimRight(drawn, "\n"), "\n")
	width := 0
	isRule := func(l string) bool { return strings.Trim(l, "-") == "" }
	for i, l := range lines {
		lines[i] = strings.TrimRight(l, " ")
		if !isRule(l) {
			width = max(width, utf8.RuneCountInString(lines[i]))
		}
	}
	for i, l := range lines {
		if l != "" && isRule(l) {
			lines[i] = strings.Repeat("-", width)
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

// roomForLast is the width that the other columns leave to the last one, in
// which long texts are wrapped.
func roomForLast(t exporter.Table) int {
	room := lineWidth
	last := len(t.Head) - 1
	for c := range last {
		width := len(t.Head[c])
		for _, row := range t.Rows {
			width = max(width, len(row[c]))
		}
		room -= width + 1
	}
	return max(room, leastRoom)
}

// leastRoom is the narrowest column in which wrapped text can be read.
const leastRoom = 20

// columnGap is one space behind a cell.
var columnGap = tw.CellPadding{Global: tw.Padding{Left: "", Right: " ", Overwrite: true}}

func printCSV(w io.Writer, tables []exporter.Table) error {
	out := csv.NewWriter(w)
	for i, t := range tables {
		if i > 0 {
			out.Write([]string{""}) // errors are sticky and reported below
		}
		for _, row := range append([][]string{t.Head}, t.Rows...) {
			cells := make([]string, len(row))
			for c, text := range row {
				cells[c] = exporter.SafeCell(text)
			}
			out.Write(cells)
		}
	}
	out.Flush()
	return out.Error()
}

// printSignoff is the report on the terminal: what is judged, in 80 columns.
func (a *app) printSignoff(s *exporter.Signoff, dir string) error {
	w := a.stdout
	fmt.Fprintf(w, "Sign-off: %s (kerf %s)\n%s\n\n", s.Name, s.Kerf, s.VerdictLine())
	for _, line := range s.Summary() {
		fmt.Fprintln(w, wrap(line, 2))
	}
	tables := append(accuracyTables(s), costTables(s, false)...)
	if near := s.FrontierTable(); len(near.Rows) > 0 {
		tables = append(tables, near)
	}
	tables = append(tables, inputTable(s))
	fmt.Fprintln(w)
	if err := printTexts(w, tables); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n"+wrap(s.Legend(), 0))
	if legend := s.FrontierLegend(); legend != "" {
		fmt.Fprintln(w, "\n"+wrap(legend, 0))
	}
	if len(s.Warnings) > 0 {
		fmt.Fprintln(w, "\nNotes")
		for i, note := range s.Warnings {
			fmt.Fprintln(w, wrap(fmt.Sprintf("%2d. %s", i+1, note), 4))
		}
	}
	fmt.Fprintf(w, "\n%s\n\n", wrap(s.Caution, 0))
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
		row[2] = row[2][:16] + "..."
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

// wrap breaks a text at spaces so that no line is longer than lineWidth; lines
// after the first are indented.
func wrap(text string, indent int) string {
	text = exporter.Visible(text)
	var b strings.Builder
	column := 0
	for i, word := range strings.Split(text, " ") {
		switch {
		case i == 0:
		case column+1+len(word) > lineWidth:
			b.WriteString("\n" + strings.Repeat(" ", indent))
			column = indent
		default:
			b.WriteByte(' ')
			column++
		}
		b.WriteString(word)
		column += len(word)
	}
	return b.String()
}
