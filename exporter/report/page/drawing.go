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

// drawing is one picture of signoff.html as inline SVG. Colours, line styles and fonts
// are classes of signoff.css, so that the picture follows the page: light, dark, print.
type drawing struct {
	b             strings.Builder
	width, height float64
	label         string // the text alternative
	group         bool   // it holds parts that can be reached one by one
}

func newDrawing(width, height float64, label string) *drawing {
	return &drawing{width: width, height: height, label: label}
}

// markup is the whole picture.
func (d *drawing) markup() template.HTML {
	role := "img"
	if d.group {
		role = "group"
	}
	return template.HTML(fmt.Sprintf(`<svg viewBox="0 0 %s %s" role="%s" aria-label="%s" `+
		`style="max-width:%spx">%s</svg>`,
		place(d.width), place(d.height), role, html.EscapeString(d.label), place(d.width),
		d.b.String()))
}

// place prints a coordinate with a tenth of a pixel.
func place(v float64) string {
	return strings.TrimSuffix(strconv.FormatFloat(v, 'f', 1, 64), ".0")
}

func (d *drawing) text(x, y float64, class, text string) {
	fmt.Fprintf(&d.b, `<text x="%s" y="%s" class="%s">%s</text>`, place(x), place(y), class,
		html.EscapeString(text))
}

// name writes a name that is cut to a width, and said in full when pointed at.
func (d *drawing) name(x, y float64, class, text string, width float64) {
	short := shorten(text, width)
	if short == text {
		d.text(x, y, class, text)
		return
	}
	fmt.Fprintf(&d.b, `<text x="%s" y="%s" class="%s">%s<title>%s</title></text>`, place(x),
		place(y), class, html.EscapeString(short), html.EscapeString(text))
}

func (d *drawing) line(x1, y1, x2, y2 float64, class string) {
	fmt.Fprintf(&d.b, `<line x1="%s" y1="%s" x2="%s" y2="%s" class="%s"/>`, place(x1), place(y1),
		place(x2), place(y2), class)
}

// bar is a rectangle; what is said is shown when it is pointed at.
func (d *drawing) bar(x, y, w, h float64, class, said string) {
	fmt.Fprintf(&d.b, `<rect x="%s" y="%s" width="%s" height="%s" class="%s">`, place(x), place(y),
		place(max(0, w)), place(h), class)
	if said != "" {
		d.b.WriteString("<title>" + html.EscapeString(said) + "</title>")
	}
	d.b.WriteString("</rect>")
}

func (d *drawing) path(class, commands string) {
	if commands != "" {
		fmt.Fprintf(&d.b, `<path d="%s" class="%s"/>`, commands, class)
	}
}

// mark draws one of the shapes that stand beside colour.
func (d *drawing) mark(shape string, x, y float64, class string) {
	d.path("mark "+shape+" "+class, markPath(shape, x, y))
}

func markPath(shape string, x, y float64) string {
	at := func(format string) string { return fmt.Sprintf("M%s %s", place(x), place(y)) + format }
	switch shape {
	case "ring", "dot":
		return at("m-4 0a4 4 0 1 0 8 0a4 4 0 1 0 -8 0z")
	case "small":
		return at("m-2.5 0a2.5 2.5 0 1 0 5 0a2.5 2.5 0 1 0 -5 0z")
	case "diamond":
		return at("m0 -5l5 5l-5 5l-5 -5z")
	case "square":
		return at("m-4 -4h8v8h-8z")
	case "frame":
		return at("m-7 -7h14v14h-14z")
	case "cross":
		return at("m-4 -4l8 8m0 -8l-8 8")
	}
	panic("exporter: no mark " + shape)
}

// polyline joins points.
func polyline(x, y []float64) string {
	var b strings.Builder
	for i := range x {
		command := "L"
		if i == 0 {
			command = "M"
		}
		b.WriteString(command + place(x[i]) + " " + place(y[i]))
	}
	return b.String()
}

// Widths of a character, in parts of the size of the pictures' text: what a name of wide
// letters may take, and what one takes on average (own measurement in Chromium with DejaVu
// Sans, a wide face: newyork_warm 0.63, case_drain_second_harmonic 0.56).
const (
	textSize  = 12.0
	wideChar  = 0.65 * textSize
	usualChar = 0.57 * textSize
)

// staircase joins values that hold until the next one.
func staircase(x, y []float64) string {
	var b strings.Builder
	for i := range x {
		if i == 0 {
			b.WriteString("M" + place(x[i]) + " " + place(y[i]))
			continue
		}
		b.WriteString("H" + place(x[i]) + "V" + place(y[i]))
	}
	return b.String()
}

// textWidth is about what a text takes.
func textWidth(text string) float64 {
	return float64(wideChar * float64(utf8.RuneCountInString(text)))
}

func shorten(text string, width float64) string {
	most := max(2, int(math.Round(width/usualChar)))
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most-1]) + "…"
}

// widest is the width of the longest of some texts, at most the limit.
func widest(limit float64, texts ...string) float64 {
	w := 0.0
	for _, t := range texts {
		w = max(w, textWidth(t))
	}
	return min(w, limit)
}

// scale maps values to places on a line.
type scale struct{ low, high, from, to float64 }

func (s scale) at(v float64) float64 {
	if s.high == s.low {
		return s.from
	}
	return s.from + float64((s.to-s.from)*((float64(v)-s.low)/(s.high-s.low)))
}

// inside is at, kept within the ends.
func (s scale) inside(v float64) float64 {
	return s.at(math.Max(s.low, math.Min(s.high, v)))
}

// ticks are round values, about as many as asked, within the scale.
func (s scale) ticks(about int) []float64 {
	span := s.high - s.low
	if !(span > 0) {
		return []float64{s.low}
	}
	// Without logarithms, whose last bits differ between processors.
	step := 1.0
	for step > span/float64(about) {
		step /= 10
	}
	for step*10 <= span/float64(about) {
		step *= 10
	}
	for _, m := range []float64{1, 2, 5, 10} {
		if span/(step*m) <= float64(about) {
			step *= m
			break
		}
	}
	var all []float64
	for i := math.Ceil(s.low / step); float64(i*step) <= s.high+float64(step*1e-9); i++ {
		all = append(all, float64(i*step))
	}
	return all
}

// tickText prints ticks with the digits that their step needs.
func tickText(ticks []float64) func(float64) string {
	const most = 12
	digits := 0
	if len(ticks) > 1 {
		step := ticks[1] - ticks[0]
		for digits < most && math.Abs(step-math.Round(step)) > 1e-6*step {
			step *= 10
			digits++
		}
	}
	return func(v float64) string {
		if v == 0 {
			v = 0 // no minus before 0
		}
		return strconv.FormatFloat(v, 'f', digits, 64)
	}
}

// axisBelow draws a horizontal axis with its title at the end.
func (d *drawing) axisBelow(s scale, y, top float64, title string, about int,
	show func(float64) string) {
	ticks := s.ticks(about)
	if show == nil {
		show = tickText(ticks)
	}
	d.line(s.from, y, s.to, y, "axis")
	for _, v := range ticks {
		x := s.at(v)
		d.line(x, top, x, y, "grid")
		d.text(x, y+14, "tick mid", show(v))
	}
	d.text((s.from+s.to)/2, y+29, "title mid", title)
}

// axisLeft draws a vertical axis with its title above.
func (d *drawing) axisLeft(s scale, x, right float64, title string, about int) {
	ticks := s.ticks(about)
	show := tickText(ticks)
	d.line(x, s.from, x, s.to, "axis")
	for _, v := range ticks {
		y := s.at(v)
		d.line(x, y, right, y, "grid")
		d.text(x-5, y+4, "tick end", show(v))
	}
	if title != "" {
		d.text(x-30, s.to-8, "title", title)
	}
}
