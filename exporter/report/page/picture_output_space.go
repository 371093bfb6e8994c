package page

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"kerf/exporter/report"
)

// spaceChoice is the space of one pair of outputs, or of the only output, with the pictures over
// it. The reader chooses one of several.
type spaceChoice struct {
	Name    string
	Figures []figure
}

// spaceChoices returns, for every space of outputs, what every unit does there and where the errors
// lie.
func spaceChoices(s *report.Signoff) []spaceChoice {
	var all []spaceChoice
	for _, m := range s.Space {
		if !hasCells(&m) {
			continue
		}
		var names []string
		for _, a := range m.Axes {
			names = append(names, a.Output)
		}
		all = append(all, spaceChoice{
			Name: strings.Join(names, " and "),
			Figures: []figure{
				{
					Title: "What every hidden unit does, over " + strings.Join(names, " and "),
					Caption: "Mean state of the units of the float network as given, on " +
						"selection recordings, by the reference values: " + axesInWords(&m) +
						" A filled square is a state above 0, an open one below; its side grows " +
						"with the state, the full cell is 1 or more. Where nothing was recorded " +
						"there is nothing.",
					Picture: unitStatePicture(m),
				},
				{
					Title: "Error over " + strings.Join(names, " and "),
					Caption: "Error of the integer network on the " + string(s.MeasuredOn) +
						" recordings, by the reference values: " + axesInWords(&m) +
						" The side of a square grows with the error; the full cell is the " +
						"largest one.",
					Picture: cellErrorPicture(m),
				},
			},
		})
	}
	return all
}

// hasCells reports whether a space has axes, and as many cells and values as they say: a sign-off
// that is read from a file may have been changed.
func hasCells(m *report.OutputSpace) bool {
	if len(m.Axes) == 0 || m.Axes[0].Cells <= 0 {
		return false
	}
	cells := len(m.Steps)
	whole := cells > 0 && cells%m.Axes[0].Cells == 0
	for _, a := range m.Axes {
		whole = whole && (len(a.Classes) == 0 || len(a.Classes) == a.Cells)
	}
	for _, u := range m.Units {
		whole = whole && len(u.State) == cells
	}
	for _, e := range m.Errors {
		whole = whole && len(e.Fixed) == cells
	}
	return whole
}

// axesInWords says in a sentence what the axes of a space are.
func axesInWords(m *report.OutputSpace) string {
	a := m.Axes[0]
	if len(a.Classes) > 0 {
		return "from left to right " + strings.Join(a.Classes, ", ") + "."
	}
	ends := func(a report.SpaceAxis) string {
		return fmt.Sprintf("%s %s to %s %s", a.Output, report.Significant(a.Low),
			report.Significant(a.High), a.Unit)
	}
	text := "from left to right " + ends(a)
	if len(m.Axes) > 1 {
		text += ", from bottom to top " + ends(m.Axes[1])
	}
	return text + "."
}

// cellColumns returns the number of cells from left to right.
func cellColumns(m *report.OutputSpace) int { return m.Axes[0].Cells }

// cellRows returns the number of cells from bottom to top.
func cellRows(m *report.OutputSpace) int { return len(m.Steps) / cellColumns(m) }

// squarePaths returns the squares of one value per cell, those of values above 0 and those below.
// The field begins at x and y, a cell is so many pixels wide, and a square of the value full fills
// it.
func squarePaths(m *report.OutputSpace, values []*float64, full, x, y,
	cell float64) (above, below string) {
	var up, down strings.Builder
	for i, v := range values {
		if v == nil {
			continue
		}
		side := min(1, math.Abs(*v)/full) * (cell - 1)
		if side < 0.7 {
			side = 0.7 // visited, and nearly 0
		}
		cx := x + float64(cell*(float64(i%cellColumns(m))+0.5))
		cy := y + float64(cell*(float64(cellRows(m)-1-i/cellColumns(m))+0.5))
		b := &up
		if *v < 0 {
			b = &down
		}
		s := pixels(side)
		fmt.Fprintf(b, "M%s %sh%sv%sh-%sz", pixels(cx-float64(side/2)), pixels(cy-float64(side/2)),
			s,
			s, s)
	}
	return up.String(), down.String()
}

// unitStatePicture draws a field per hidden unit with its mean state in every cell.
func unitStatePicture(m report.OutputSpace) template.HTML {
	const panel, gap = 90.0, 6.0
	const perLine = 9 // so many panels fit the width
	cell := panel / float64(max(cellColumns(&m), cellRows(&m)))
	height := float64(cell * float64(cellRows(&m)))
	each := height + 26
	lines := (len(m.Units) + perLine - 1) / perLine
	kept := 0
	for _, u := range m.Units {
		if u.Kept {
			kept++
		}
	}
	d := newDrawing(pictureWidth, float64(each*float64(lines)),
		fmt.Sprintf("Mean state of %d hidden units over the outputs, %d of them kept. kerf "+
			"explain has the figures of every unit.", len(m.Units), kept))
	for i, u := range m.Units {
		x := float64((panel + gap) * float64(i%perLine))
		y := float64(each * float64(i/perLine))
		label, class := "unit "+u.Unit, ""
		if !u.Kept {
			label, class = label+", cut", "quiet"
		}
		d.text(x, y+13, class, label)
		d.rect(x, y+18, float64(cell*float64(cellColumns(&m))), height, "field", "")
		above, below := squarePaths(&m, u.State, 1, x, y+18, cell)
		d.path("above "+class, above)
		d.path("below "+class, below)
	}
	return d.markup()
}

// cellErrorPicture draws a field per output with the error of the integer network in every cell.
func cellErrorPicture(m report.OutputSpace) template.HTML {
	const gap, left = 60.0, 46.0
	perLine := max(1, min(3, len(m.Errors)))
	panel := min(250, (pictureWidth-float64((gap+left)*float64(perLine)))/float64(perLine))
	cell := panel / float64(max(cellColumns(&m), cellRows(&m)))
	width, height := float64(cell*float64(cellColumns(&m))), float64(cell*float64(cellRows(&m)))
	each := height + 92
	lines := (len(m.Errors) + perLine - 1) / perLine
	var said []string
	type peak struct {
		value float64
		cell  int
	}
	peaks := make([]peak, len(m.Errors))
	for i, e := range m.Errors {
		for c, v := range e.Fixed {
			if v != nil && *v > peaks[i].value {
				peaks[i] = peak{*v, c}
			}
		}
		said = append(said, fmt.Sprintf("%s: at most %s %s, where %s", e.Output,
			report.Significant(peaks[i].value), e.Unit, cellInWords(&m, peaks[i].cell)))
	}
	d := newDrawing(pictureWidth, float64(each*float64(lines)),
		"Error in every cell. "+strings.Join(said, "; ")+".")
	for i, e := range m.Errors {
		x0 := left + float64((panel+gap+left)*float64(i%perLine))
		y0 := 54 + float64(each*float64(i/perLine))
		d.text(x0-30, y0-36, "",
			fmt.Sprintf("%s: largest %s %s", e.Output, report.Significant(peaks[i].value), e.Unit))
		d.rect(x0, y0, width, height, "field", "")
		a := m.Axes[0]
		if len(a.Classes) > 0 {
			for c, name := range a.Classes {
				d.shortText(x0+float64(cell*(float64(c)+0.5)), y0+height+14, "tick mid", name, cell)
			}
		} else {
			d.axisBelow(scale{a.Low, a.High, x0, x0 + width}, y0+height, y0+height,
				strings.TrimSuffix(a.Output+", "+a.Unit, ", "), 5, nil)
		}
		if len(m.Axes) > 1 {
			b := m.Axes[1]
			d.axisLeft(scale{b.Low, b.High, y0 + height, y0}, x0, x0,
				strings.TrimSuffix(b.Output+", "+b.Unit, ", "), 5)
		}
		if peaks[i].value > 0 {
			above, _ := squarePaths(&m, e.Fixed, peaks[i].value, x0, y0, cell)
			d.path("above", above)
		}
	}
	return d.markup()
}

// cellInWords says between which values of the outputs a cell lies.
func cellInWords(m *report.OutputSpace, cell int) string {
	var parts []string
	for _, a := range m.Axes {
		i := cell % a.Cells
		cell /= a.Cells
		if len(a.Classes) > 0 {
			parts = append(parts, a.Output+" is "+a.Classes[i])
			continue
		}
		width := (a.High - a.Low) / float64(a.Cells)
		parts = append(parts,
			fmt.Sprintf("%s is %s to %s %s", a.Output,
				report.Significant(a.Low+float64(width*float64(i))),
				report.Significant(a.Low+float64(width*float64(i+1))), a.Unit))
	}
	return strings.Join(parts, " and ")
}
