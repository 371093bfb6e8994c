package page

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// drawing collects the SVG elements of one picture. Coordinates are pixels on screen, from the
// upper left corner. Colours, line styles and fonts are classes of signoff.css, so that a picture
// is light, dark or printed as the page is. Every text that is passed in is escaped.
type drawing struct {
	b             strings.Builder // the elements so far
	width, height float64
	label         string // the text alternative
	hasParts      bool   // the picture holds marks that the reader can point at one by one
	small         bool   // it stands in a line of text and does not grow with the page
}

func newDrawing(width, height float64, label string) *drawing {
	return &drawing{width: width, height: height, label: label}
}

// markup returns the whole picture as an svg element.
func (d *drawing) markup() template.HTML {
	role := "img"
	if d.hasParts {
		role = "group"
	}
	class := ""
	if d.small {
		class = `class="small" `
	}
	return template.HTML(fmt.Sprintf(`<svg %sviewBox="0 0 %s %s" role="%s" aria-label="%s" `+
		`style="max-width:%spx">%s</svg>`, class,
		pixels(d.width), pixels(d.height), role, html.EscapeString(d.label), pixels(d.width),
		d.b.String()))
}

// pixels prints a coordinate or a length with at most one decimal: finer steps cannot be seen, and
// the last bits of a computation do not reach the page.
func pixels(v float64) string {
	return strings.TrimSuffix(strconv.FormatFloat(v, 'f', 1, 64), ".0")
}

// text writes a text that begins at x, or that ends or has its middle there if the class says so.
func (d *drawing) text(x, y float64, class, text string) {
	fmt.Fprintf(&d.b, `<text x="%s" y="%s" class="%s">%s</text>`, pixels(x), pixels(y), class,
		html.EscapeString(text))
}

// shortText writes a text that is cut to a width. The whole text is shown when the reader points at
// the short one.
func (d *drawing) shortText(x, y float64, class, text string, width float64) {
	short := shorten(text, width)
	if short == text {
		d.text(x, y, class, text)
		return
	}
	fmt.Fprintf(&d.b, `<text x="%s" y="%s" class="%s">%s<title>%s</title></text>`, pixels(x),
		pixels(y), class, html.EscapeString(short), html.EscapeString(text))
}

func (d *drawing) line(x1, y1, x2, y2 float64, class string) {
	fmt.Fprintf(&d.b, `<line x1="%s" y1="%s" x2="%s" y2="%s" class="%s"/>`, pixels(x1), pixels(y1),
		pixels(x2), pixels(y2), class)
}

// rect draws a rectangle. The tip, if there is one, is shown when the reader points at it.
func (d *drawing) rect(x, y, width, height float64, class, tip string) {
	fmt.Fprintf(&d.b, `<rect x="%s" y="%s" width="%s" height="%s" class="%s">`, pixels(x),
		pixels(y), pixels(max(0, width)), pixels(height), class)
	if tip != "" {
		d.b.WriteString("<title>" + html.EscapeString(tip) + "</title>")
	}
	d.b.WriteString("</rect>")
}

// shade draws a rectangle of the class cell with an opacity.
func (d *drawing) shade(x, y, width, height float64, opacity string) {
	fmt.Fprintf(&d.b, `<rect x="%s" y="%s" width="%s" height="%s" class="cell" `+
		`fill-opacity="%s"/>`, pixels(x), pixels(y), pixels(width), pixels(height), opacity)
}

// legendRow is the height of a line of a legend.
const legendRow = 20.0

// legendEntry is one kind of mark with its name. draw draws it in the room of 26 pixels from x,
// with its middle at y.
type legendEntry struct {
	name string
	draw func(d *drawing, x, y float64)
}

// legend writes what marks mean in as many lines as it takes between left and right, the first with
// its middle at y, and returns the height of all of them. A name that is wider than a line is cut.
func (d *drawing) legend(left, right, y float64, entries []legendEntry) float64 {
	const mark, apart = 32.0, 20.0 // room of a mark, and between entries
	x, lines := left, 1
	for _, e := range entries {
		width := min(mark+textWidth(e.name), right-left)
		if x > left && x+width > right {
			x = left
			lines++
		}
		at := y + float64(legendRow*float64(lines-1))
		e.draw(d, x, at)
		d.shortText(x+mark, at+4, "", e.name, width-mark)
		x += width + apart
	}
	return float64(legendRow * float64(lines))
}

// path draws the commands of an SVG path; without commands it draws nothing.
func (d *drawing) path(class, commands string) {
	if commands != "" {
		fmt.Fprintf(&d.b, `<path d="%s" class="%s"/>`, commands, class)
	}
}

// mark draws one of the shapes of [markPath]: a shape tells what a colour alone would not tell
// every reader.
func (d *drawing) mark(shape string, x, y float64) {
	d.path("mark "+shape, markPath(shape, x, y))
}

// markWithTip draws a mark that says more when the reader points at it.
func (d *drawing) markWithTip(shape string, x, y float64, tip string) {
	fmt.Fprintf(&d.b, `<path class="mark %s" d="%s"><title>%s</title></path>`, shape,
		markPath(shape, x, y), html.EscapeString(tip))
}

// markPath returns the path of a shape around a point. It panics for a shape that does not exist.
func markPath(shape string, x, y float64) string {
	from := "M" + pixels(x) + " " + pixels(y)
	switch shape {
	case "ring", "dot":
		return from + "m-4 0a4 4 0 1 0 8 0a4 4 0 1 0 -8 0z"
	case "small":
		return from + "m-2.5 0a2.5 2.5 0 1 0 5 0a2.5 2.5 0 1 0 -5 0z"
	case "diamond":
		return from + "m0 -5l5 5l-5 5l-5 -5z"
	case "square":
		return from + "m-4 -4h8v8h-8z"
	case "frame":
		return from + "m-7 -7h14v14h-14z"
	case "cross":
		return from + "m-4 -4l8 8m0 -8l-8 8"
	}
	panic("page: no mark " + shape)
}

// polyline returns the path through points.
func polyline(x, y []float64) string {
	var b strings.Builder
	for i := range x {
		command := "L"
		if i == 0 {
			command = "M"
		}
		b.WriteString(command + pixels(x[i]) + " " + pixels(y[i]))
	}
	return b.String()
}

// staircase returns the path of values that hold until the next one.
func staircase(x, y []float64) string {
	var b strings.Builder
	for i := range x {
		if i == 0 {
			b.WriteString("M" + pixels(x[i]) + " " + pixels(y[i]))
			continue
		}
		b.WriteString("H" + pixels(x[i]) + "V" + pixels(y[i]))
	}
	return b.String()
}

// Widths of a character in pixels at the text size of signoff.css: what a name of wide letters may
// take, and what a character takes on average (own measurement in Chromium with DejaVu Sans, a wide
// face: newyork_warm 0.63, case_drain_second_harmonic 0.56).
const (
	textSize  = 12.0
	wideChar  = 0.65 * textSize
	usualChar = 0.57 * textSize
)

// textWidth returns the room that a text needs, estimated with wide letters.
func textWidth(text string) float64 {
	return float64(wideChar * float64(utf8.RuneCountInString(text)))
}

// widestText returns the room that the longest of some texts needs, at most the limit.
func widestText(limit float64, texts ...string) float64 {
	width := 0.0
	for _, t := range texts {
		width = max(width, textWidth(t))
	}
	return min(width, limit)
}

// shorten cuts a text to about a width; an ellipsis stands for what was cut.
func shorten(text string, width float64) string {
	most := max(2, int(math.Round(width/usualChar)))
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most-1]) + "…"
}
