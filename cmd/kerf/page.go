package main

import (
	"io"
	"os"
	"regexp"
	"strconv"

	"golang.org/x/term"
)

// page is the layout of text on stdout.
type page struct {
	width   int  // columns
	isFixed bool // no line is longer than width; in a file or pipe a table may be wider
	colour  bool // verdicts that are no pass are bold and red
}

const (
	// usualWidth is the width where none is known: of a file, a pipe, a terminal that does not say.
	usualWidth = 80
	// leastWidth is the narrowest layout: below it a row of figures has no room beside its names.
	leastWidth = 32
	// widestProse is the longest line of running text, which is hard to read when it is longer
	// (common practice, no source).
	widestProse = 100
)

// newPage finds the layout for text on w. Its width is COLUMNS if that is set, else that of the
// terminal that w is.
func newPage(w io.Writer) page {
	p := layout(w)
	file, ok := w.(*os.File)
	// no-color.org: NO_COLOR with any value but the empty one.
	p.colour = ok && term.IsTerminal(int(file.Fd())) && os.Getenv("NO_COLOR") == "" &&
		os.Getenv("TERM") != "dumb"
	return p
}

// layout finds width and isFixed.
func layout(w io.Writer) page {
	if columns, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil && columns > 0 {
		return page{width: max(columns, leastWidth), isFixed: true}
	}
	if columns := terminalWidth(w); columns > 0 {
		return page{width: max(columns, leastWidth), isFixed: true}
	}
	return page{width: usualWidth}
}

// terminalWidth returns the columns of the terminal w, and 0 where w is none.
func terminalWidth(w io.Writer) int {
	if file, ok := w.(*os.File); ok {
		if columns, _, err := term.GetSize(int(file.Fd())); err == nil {
			return columns
		}
	}
	return 0
}

// trouble matches a verdict at the end of a line that is no pass.
var trouble = regexp.MustCompile(`(?m)\b(fail|does not fit|not enough|not enough ` +
	`recordings|worse|mixed)$`)

// paint makes trouble bold and red on a terminal that wants colours.
func (p page) paint(text string) string {
	if !p.colour {
		return text
	}
	return trouble.ReplaceAllString(text, "\x1b[1;31m$1\x1b[0m")
}
