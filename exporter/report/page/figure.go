package page

import (
	"fmt"
	"html/template"
	"slices"
)

// figure is one picture of the page with what is said about it.
type figure struct {
	Title   string
	Caption string
	Picture template.HTML
}

// pictureWidth is the width of every picture in pixels. Our choice: it fits the column of text that
// signoff.css sets (60rem with its padding). Print scales a picture to the paper.
const pictureWidth = 860.0

// rowsPerPicture keeps a picture shorter than a page of A4 or Letter, where it is about 0.8 times
// as large as on screen: 44 rows of 19 pixels take 177 mm.
const rowsPerPicture = 44

// equalParts splits rows into as few parts as hold at most so many rows each, all of about the same
// length.
func equalParts[T any](rows []T, most int) [][]T {
	parts := (len(rows) + most - 1) / most
	return slices.Collect(slices.Chunk(rows, max(1, (len(rows)+parts-1)/max(1, parts))))
}

// fillPatterns is the number of fills in signoff.css, whose patterns stand in signoff.html.tmpl.
const fillPatterns = 6

// fillClass returns the class of the n-th of several kinds of bar.
func fillClass(n int) string { return fmt.Sprintf("fill%d", n%fillPatterns) }
