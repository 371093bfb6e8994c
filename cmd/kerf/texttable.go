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

// printText draws one table: a head, a line, columns without lines between them. A column without
// any text is left out. A table that is wider than the page is drawn as several, of which each has
// some of the columns; the first column, which names the rows, stands in all of them.
func (p page) printText(w io.Writer, t report.Table) error {
	if len(t.Rows) == 0 {
		fmt.Fprintln(w, "  nothing to show")
		return nil
	}
	for i, columns := range p.parts(t) {
		if i > 0 {
			fmt.Fprintln(w)
		}
		if err := p.drawColumns(w, t, columns); err != nil {
			return err
		}
	}
	return nil
}

// drawColumns draws some columns of a table.
func (p page) drawColumns(w io.Writer, t report.Table, columns []int) error {
	widths := p.widths(t, columns)
	alignment := make(tw.Alignment, len(columns))
	head := make([]string, len(columns))
	for i, c := range columns {
		alignment[i] = tw.AlignLeft
		if t.RightAligned(c) {
			alignment[i] = tw.AlignRight
		}
		head[i] = broken(t.Head[c], widths[i])
	}
	// A blank stands behind every cell but the last one.
	gaps := slices.Repeat([]tw.Padding{{Right: " ", Overwrite: true}}, len(columns))
	gaps[len(columns)-1].Right = ""
	columnGap := tw.CellPadding{PerColumn: gaps}
	plain := tw.CellFormatting{AutoFormat: tw.Off, AutoWrap: tw.WrapNone}
	var drawn strings.Builder
	table := tablewriter.NewTable(&drawn,
		tablewriter.WithRenderer(renderer.NewBlueprint(tw.Rendition{
			Borders: tw.BorderNone,
			Symbols: tw.NewSymbols(tw.StyleASCII),
			Settings: tw.Settings{Separators: tw.Separators{BetweenColumns: tw.Off,
				BetweenRows: tw.Off, ShowHeader: tw.On}},
		})),
		tablewriter.WithConfig(tablewriter.Config{
			Header: tw.CellConfig{Formatting: plain, Padding: columnGap},
			Row:    tw.CellConfig{Formatting: plain, Padding: columnGap},
		}),
		tablewriter.WithAlignment(alignment),
	)
	table.Header(head)
	for _, row := range t.Rows {
		cells := make([]string, len(columns))
		for i, c := range columns {
			cells[i] = broken(row[c], widths[i])
		}
		if err := table.Append(cells); err != nil {
			return err
		}
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

// parts deals the columns of a table out, so that each part is no wider than the page. There are as
// few parts as can be, and of nearly the same width.
func (p page) parts(t report.Table) [][]int {
	parts := p.partsUpTo(t, p.width)
	if len(parts) == 1 {
		return parts
	}
	for width := p.width - 1; width > 0; width-- {
		narrower := p.partsUpTo(t, width)
		if len(narrower) > len(parts) {
			break
		}
		parts = narrower
	}
	return parts
}

// partsUpTo deals columns out to parts of a largest width. A part has two columns at least.
func (p page) partsUpTo(t report.Table, width int) [][]int {
	var columns []int
	for c := range t.Head {
		if !isEmpty(t, c) {
			columns = append(columns, c)
		}
	}
	if len(columns) == 0 {
		return [][]int{{0}}
	}
	first := columns[0]
	parts, taken := [][]int{{first}}, p.leastWidth(t, first)
	for _, c := range columns[1:] {
		least, last := p.leastWidth(t, c), len(parts)-1
		if taken+1+least > width && len(parts[last]) > 1 {
			parts, taken = append(parts, []int{first}), p.leastWidth(t, first)
			last++
		}
		parts[last] = append(parts[last], c)
		taken += 1 + least
	}
	return parts
}

// isEmpty reports whether no cell of a column holds a text.
func isEmpty(t report.Table, c int) bool {
	return !slices.ContainsFunc(t.Rows, func(row []string) bool { return row[c] != "" })
}

// widths returns how wide each column of a part is: every column gets what it needs at least, and
// the rest of the page goes to those whose texts would be broken.
func (p page) widths(t report.Table, columns []int) []int {
	widths := make([]int, len(columns))
	rest := p.width - (len(columns) - 1)
	for i, c := range columns {
		widths[i] = p.leastWidth(t, c)
		rest -= widths[i]
	}
	for grown := true; grown && rest > 0; {
		grown = false
		for i, c := range columns {
			if widths[i] < columnWidth(t, c) && rest > 0 {
				widths[i]++
				rest--
				grown = true
			}
		}
	}
	return widths
}

// leastWidth is the narrowest that a column can be: figures are not broken, heads are between
// words, and texts anywhere. A text gets a quarter of the page and a figure two thirds of it, at
// most (our choice), so that a part has room for two columns.
func (p page) leastWidth(t report.Table, c int) int {
	if !t.RightAligned(c) {
		return min(columnWidth(t, c), max(p.width/4, leastText))
	}
	least := 0
	for _, word := range strings.Fields(t.Head[c]) {
		least = max(least, min(utf8.RuneCountInString(word), leastText))
	}
	for _, row := range t.Rows {
		least = max(least, utf8.RuneCountInString(row[c]))
	}
	return min(least, p.width*2/3)
}

// columnWidth is what a column would take with every text in one line.
func columnWidth(t report.Table, c int) int {
	width := utf8.RuneCountInString(t.Head[c])
	for _, row := range t.Rows {
		width = max(width, utf8.RuneCountInString(row[c]))
	}
	return width
}

// leastText is the narrowest column in which broken text can be read, in characters. Our choice.
const leastText = 12

// broken breaks a cell into lines of a width: between words, and where a word is longer as
// [brokenWord] does.
func broken(text string, width int) string {
	var lines []string
	line := ""
	for _, word := range unbroken(text) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= width {
			line += " " + word
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		pieces := brokenWord(word, width)
		lines = append(lines, pieces[:len(pieces)-1]...)
		line = pieces[len(pieces)-1]
	}
	return strings.Join(append(lines, line), "\n")
}

// brokenWord breaks a word into pieces of a width: behind a sign in its second half that joins
// words, and else anywhere.
func brokenWord(word string, width int) []string {
	var pieces []string
	for utf8.RuneCountInString(word) > width {
		runes := []rune(word)
		at := width
		if joint := strings.LastIndexAny(string(runes[:width]), "_/-,"); 2*joint > width {
			at = utf8.RuneCountInString(word[:joint]) + 1
		}
		pieces = append(pieces, string(runes[:at]))
		word = string(runes[at:])
	}
	return append(pieces, word)
}

// wrapUpTo is wrap with at most so many lines: dots stand where a longer text ends.
func (p page) wrapUpTo(text string, indent, most int) string {
	lines := strings.Split(p.wrap(text, indent), "\n")
	if len(lines) <= most {
		return strings.Join(lines, "\n")
	}
	const dots = " ..."
	last := []rune(lines[most-1])
	if room := p.width - len(dots); len(last) > room {
		last = last[:room]
	}
	return strings.Join(append(lines[:most-1], strings.TrimRight(string(last), " ")+dots), "\n")
}

// wrap breaks a text at spaces into lines of the page's width, and a word that is longer than a
// line as [brokenWord] does; lines after the first are indented.
func (p page) wrap(text string, indent int) string {
	text = report.Visible(text)
	var b strings.Builder
	column, longest := 0, p.width-indent
	for i, word := range unbroken(text) {
		for k, piece := range brokenWord(word, longest) {
			switch {
			case i == 0 && k == 0:
			case k > 0 || column+1+utf8.RuneCountInString(piece) > p.width:
				b.WriteString("\n" + strings.Repeat(" ", indent))
				column = indent
			default:
				b.WriteByte(' ')
				column++
			}
			b.WriteString(piece)
			column += utf8.RuneCountInString(piece)
		}
	}
	return b.String()
}

// unbroken returns the words of a text; a sign of percent belongs to the figure before it.
func unbroken(text string) []string {
	var words []string
	for _, word := range strings.Split(text, " ") {
		if last := len(words) - 1; last >= 0 && strings.HasPrefix(word, "%") {
			words[last] += " " + word
			continue
		}
		words = append(words, word)
	}
	return words
}
