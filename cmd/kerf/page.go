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
	width  int  // columns
	colour bool // verdicts that are no pass are bold and red
}

const (
	// usualWidth is the width of text on a terminal, in a pipe and in a file: the same text
	// everywhere. Our choice: the width that terminals open with (common practice, no source).
	usualWidth = 80
	// leastWidth is the narrowest layout: below it a row of figures has no room beside its names.
	leastWidth = 32
)

// newPage finds the layout for text on w. Its width is COLUMNS if that is set, else that of a
// terminal which is narrower than usual.
func newPage(w io.Writer) page {
	p := page{width: usualWidth}
	if columns := terminalWidth(w); columns > 0 {
		p.width = min(p.width, max(columns, leastWidth))
	}
	if columns, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil && columns > 0 {
		p.width = max(columns, leastWidth)
	}
	file, ok := w.(*os.File)
	// no-color.org: NO_COLOR with any value but the empty one.
	p.colour = ok && term.IsTerminal(int(file.Fd())) && os.Getenv("NO_COLOR") == "" &&
		os.Getenv("TERM") != "dumb"
	return p
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

// trouble matches a verdict that is no pass: at the end of a line, at its start, or behind the word
// that begins a sign-off.
var trouble = regexp.MustCompile(`(?m)\b(fail|does not fit|not enough|not enough ` +
	`recordings|worse|mixed)$|^(Verdict: )?(fail|does not fit|not enough( recordings)?)\b`)

// paint makes trouble bold and red on a terminal that wants colours.
func (p page) paint(text string) string {
	if !p.colour {
		return text
	}
	return trouble.ReplaceAllString(text, "\x1b[1;31m$0\x1b[0m")
}
