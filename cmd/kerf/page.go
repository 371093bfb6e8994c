package main

import (
	"io"
	"os"
	"strconv"

	"golang.org/x/term"
)

// page is what text is laid out for.
type page struct {
	width   int  // columns
	isFixed bool // a line may not be longer; in a file or pipe a table may
}

const (
	// usualWidth is the width where none is known: of a file, a pipe, a terminal that does not say.
	usualWidth = 80
	// leastWidth is the narrowest layout: below it a row of figures has no room beside its names.
	leastWidth = 32
	// widestProse is the longest line of running text, which is hard to read when it is longer (common practice, no source).
	widestProse = 100
)

// newPage finds the width for text on w: COLUMNS if it is set, else that of the terminal that w is.
func newPage(w io.Writer) page {
	if columns, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil && columns > 0 {
		return page{max(columns, leastWidth), true}
	}
	if columns := terminalWidth(w); columns > 0 {
		return page{max(columns, leastWidth), true}
	}
	return page{width: usualWidth}
}

// terminalWidth is the width of the terminal that w is, 0 where it is none.
func terminalWidth(w io.Writer) int {
	if file, ok := w.(*os.File); ok {
		if columns, _, err := term.GetSize(int(file.Fd())); err == nil {
			return columns
		}
	}
	return 0
}
