package page

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"kerf/exporter/report"
)

// spaceChoice is one pair of outputs with the pictures drawn over it.
type spaceChoice struct {
	Name    string
	Figures []figure
}

// spaceChoices show, over the space of the outputs, what every unit does and where
// the errors lie.
func spaceChoices(s *report.Signoff) []spaceChoice {
	var all []spaceChoice
	for _, m := range s.Space {
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
						"selection recordings, by the reference values: " + across(&m) +
						" A filled square is a state above 0, an open one below; its side grows " +
						"with the state, the full cell is 1 or more. Where nothing was recorded " +
						"there is nothing.",
					Picture: unitPicture(m),
				},
				{
					Title: "Error over " + strings.Join(names, " and "),
					Caption: "Error of the integer network on the " + s.MeasuredOn +
						" recordings, by the reference values: " + across(&m) +
						" The side of a square grows with the error; the full cell is the " +
						"largest one.",
					Picture: errorPicture(m),
				},
			},
		})
	}
	return all
}

func across(m *report.OutputSpace) string {
	a := m.Axes[0]
	if len(a.Classes) > 0 {
		return "from left to right " + strings.Join(a.Classes, ", ") + "."
	}
	text := fmt.Sprintf("from left to right %s %s to %s %s", a.Output, report.Significant(a.Low),
		report.Significant(a.High), a.Unit)
	if len(m.Axes) > 1 {
		b := m.Axes[1]
		text += fmt.Sprintf(", from bottom to top %s %s to %s %s", b.Output,
			report.Significant(b.Low),
			report.Significant(b.High), b.Unit)
	}
	return text + "."
}

// columns and rows of the cells.
func columns(m *report.OutputSpace) int { return m.Axes[0].Cells }

func rows(m *report.OutputSpace) int { return len(m.Steps) / columns(m) }

// squares draws one value per cell into a field.
func squares(m *report.OutputSpace, values []*float64, full, x, y,
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
		cx := x + float64(cell*(float64(i%columns(m))+0.5))
		cy := y + float64(cell*(float64(rows(m)-1-i/columns(m))+0.5))
		b := &up
		if *v < 0 {
			b = &down
		}
		s := place(side)
		fmt.Fprintf(b, "M%s %sh%sv%sh-%sz", place(cx-float64(side/2)), place(cy-float64(side/2)), s,
			s, s)
	}
	return up.String(), down.String()
}

func unitPicture(m report.OutputSpace) template.HTML {
	const panel, gap = 90.0, 6.0
	const perLine = 9 // that is how many fit the width
	cell := panel / float64(max(columns(&m), rows(&m)))
	height := float64(cell * float64(rows(&m)))
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
		d.bar(x, y+18, float64(cell*float64(columns(&m))), height, "field", "")
		above, below := squares(&m, u.State, 1, x, y+18, cell)
		d.path("above "+class, above)
		d.path("below "+class, below)
	}
	return d.markup()
}

func errorPicture(m report.OutputSpace) template.HTML {
	const gap, left = 60.0, 46.0
	perLine := max(1, min(3, len(m.Errors)))
	panel := min(250, (pictureWidth-float64((gap+left)*float64(perLine)))/float64(perLine))
	cell := panel / float64(max(columns(&m), rows(&m)))
	width, height := float64(cell*float64(columns(&m))), float64(cell*float64(rows(&m)))
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
			report.Significant(peaks[i].value), e.Unit, where(&m, peaks[i].cell)))
	}
	d := newDrawing(pictureWidth, float64(each*float64(lines)),
		"Error in every cell. "+strings.Join(said, "; ")+".")
	for i, e := range m.Errors {
		x0 := left + float64((panel+gap+left)*float64(i%perLine))
		y0 := 54 + float64(each*float64(i/perLine))
		d.text(x0-30, y0-36, "",
			fmt.Sprintf("%s: largest %s %s", e.Output, report.Significant(peaks[i].value), e.Unit))
		d.bar(x0, y0, width, height, "field", "")
		a := m.Axes[0]
		if len(a.Classes) > 0 {
			for c, name := range a.Classes {
				d.name(x0+float64(cell*(float64(c)+0.5)), y0+height+14, "tick mid", name, cell)
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
			above, _ := squares(&m, e.Fixed, peaks[i].value, x0, y0, cell)
			d.path("above", above)
		}
	}
	return d.markup()
}

// where says a cell in words.
func where(m *report.OutputSpace, cell int) string {
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
