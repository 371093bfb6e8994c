package main

import (
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/olekukonko/tablewriter"
	"github.com/olekukonko/tablewriter/renderer"
	"github.com/olekukonko/tablewriter/tw"

	"kerf/exporter/report"
)

// printTexts draws tables for the terminal. Tables in a row that have one title
// stand below it.
func (p page) printTexts(w io.Writer, tables []report.Table) error {
	title := ""
	for i, t := range tables {
		t = t.Visible()
		if i > 0 {
			fmt.Fprintln(w)
		}
		if t.Title != title {
			title = t.Title
			fmt.Fprintf(w, "%s\n\n", p.wrap(title, 2))
		}
		if err := p.printText(w, t); err != nil {
			return err
		}
	}
	return nil
}

// printText draws one table: a head, a line, columns without lines between them.
func (p page) printText(w io.Writer, t report.Table) error {
	if len(t.Rows) == 0 {
		fmt.Fprintln(w, "  nothing to show")
		return nil
	}
	room := p.roomForLast(t)
	if room < leastRoom && room < lastWidth(t) {
		if p.isFixed {
			return p.printRecords(w, t)
		}
		room = leastRoom
	}
	alignment := make(tw.Alignment, len(t.Head))
	for i := range alignment {
		alignment[i] = tw.AlignLeft
		if t.RightAligned(i) {
			alignment[i] = tw.AlignRight
		}
	}
	last := len(t.Head) - 1
	// A blank stands behind every cell but the last one.
	gaps := slices.Repeat([]tw.Padding{{Right: " ", Overwrite: true}}, len(t.Head))
	gaps[last].Right = ""
	columnGap := tw.CellPadding{PerColumn: gaps}
	var drawn strings.Builder
	table := tablewriter.NewTable(&drawn,
		tablewriter.WithRenderer(renderer.NewBlueprint(tw.Rendition{
			Borders: tw.BorderNone,
			Symbols: tw.NewSymbols(tw.StyleASCII),
			Settings: tw.Settings{Separators: tw.Separators{BetweenColumns: tw.Off,
				BetweenRows: tw.Off, ShowHeader: tw.On}},
		})),
		tablewriter.WithConfig(tablewriter.Config{
			Header: tw.CellConfig{Formatting: tw.CellFormatting{AutoFormat: tw.Off,
				AutoWrap: tw.WrapNone}, Padding: columnGap},
			Row: tw.CellConfig{
				Formatting: tw.CellFormatting{AutoWrap: tw.WrapNormal},
				Padding:    columnGap,
				// The rightmost place of the page stays empty.
				ColMaxWidths: tw.CellWidth{PerColumn: tw.NewMapper[int, int]().Set(last, room-1)},
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
	_, err := io.WriteString(w, p.paint(trimmed(drawn.String())))
	return err
}

// trimmed takes the blanks off the end of every line.
func trimmed(drawn string) string { return blanksAtEnd.ReplaceAllString(drawn, "\n") }

var blanksAtEnd = regexp.MustCompile(` +\n`)

// roomForLast is the width that the other columns leave to the last one, in
// which long texts are wrapped.
func (p page) roomForLast(t report.Table) int {
	room := p.width
	for c := range len(t.Head) - 1 {
		room -= columnWidth(t, c) + 1
	}
	return room
}

// lastWidth is what the last column would take in one line.
func lastWidth(t report.Table) int { return columnWidth(t, len(t.Head)-1) }

func columnWidth(t report.Table, c int) int {
	width := utf8.RuneCountInString(t.Head[c])
	for _, row := range t.Rows {
		width = max(width, utf8.RuneCountInString(row[c]))
	}
	return width
}

// leastRoom is the narrowest column in which wrapped text can be read.
const leastRoom = 20

// printRecords prints a table that is wider than the page: every row is a paragraph, its first cell
// in front, the others each with the head of their column.
func (p page) printRecords(w io.Writer, t report.Table) error {
	if t.Head[0] != "" {
		fmt.Fprintf(w, "%s\n%s\n", t.Head[0],
			strings.Repeat("-", min(p.width, utf8.RuneCountInString(t.Head[0]))))
	}
	for _, row := range t.Rows {
		cells := []string{}
		for c := 1; c < len(row); c++ {
			if row[c] != "" {
				cells = append(cells, strings.TrimSpace(t.Head[c]+" "+row[c]))
			}
		}
		if _, err := fmt.Fprintf(w, "%s\n%s\n", p.wrap(row[0], 2),
			p.wrap("  "+strings.Join(cells, ", "), 2)); err != nil {
			return err
		}
	}
	return nil
}

// wrap breaks a text at spaces into lines of the page's width, as far as they can be read; lines
// after the first are indented.
func (p page) wrap(text string, indent int) string {
	text = report.Visible(text)
	var b strings.Builder
	line := min(p.width, widestProse)
	column := 0
	for i, word := range strings.Split(text, " ") {
		switch {
		case i == 0:
		case column+1+utf8.RuneCountInString(word) > line:
			b.WriteString("\n" + strings.Repeat(" ", indent))
			column = indent
		default:
			b.WriteByte(' ')
			column++
		}
		b.WriteString(word)
		column += utf8.RuneCountInString(word)
	}
	return b.String()
}
