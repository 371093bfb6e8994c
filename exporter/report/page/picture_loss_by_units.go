package page

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"

	"kerf/budget"
	"kerf/exporter/report"
)

// sizePoint is the network with the least loss of all candidates with so many hidden units, or a
// network that was trained with so many.
type sizePoint struct {
	units, features int
	row             string             // the tightest one
	used            *float64           // the largest share of any tolerance that may be used
	loss            *report.UnitRow    // of the tightest row; nil where it is not known
	cost            map[string]float64 // by resource, on the main target
	chosen          bool
	file            string // of a network that was trained so; empty: it is cut
}

// sizePoints returns the best candidate for every number of units, and the choice for its own; the
// fewest units first.
func sizePoints(s *report.Signoff) []sizePoint {
	f, target := &s.Frontier, mainTarget(s)
	best := map[int]int{} // index of the candidate by units
	used := func(k int) float64 {
		if u := f.Candidates[k].ToleranceUsed; u != nil {
			return *u
		}
		return math.Inf(1)
	}
	for k, c := range f.Candidates {
		units := 0
		for _, n := range c.Units {
			units += n
		}
		if at, known := best[units]; c.Chosen || !known ||
			used(k) < used(at) && !f.Candidates[at].Chosen {
			best[units] = k
		}
	}
	var all []sizePoint
	for units, k := range best {
		c := &f.Candidates[k]
		p := sizePoint{units: units, features: c.Features, row: c.TightestText(),
			used: c.ToleranceUsed, chosen: c.Chosen, cost: sizeCost(c.Cost, target)}
		if i := slices.IndexFunc(f.ByUnits, func(u report.UnitRow) bool {
			return u.Units == units
		}); i >= 0 {
			p.loss = &f.ByUnits[i]
		}
		all = append(all, p)
	}
	for _, r := range f.Trained {
		all = append(all, sizePoint{units: r.Units, features: r.Features, row: r.TightestText(),
			used: r.ToleranceUsed, cost: sizeCost(r.Cost, target), file: r.File})
	}
	slices.SortFunc(all, func(a, b sizePoint) int {
		return cmp.Or(a.units-b.units, cmp.Compare(a.file, b.file)) // what is cut has no file
	})
	return all
}

// sizeCost returns the costs that are shown, by resource.
func sizeCost(costs []report.CandidateCostRow, target string) map[string]float64 {
	shown := map[string]float64{}
	for _, r := range sizeResources {
		if v := costOn(costs, target, r.resource); v != nil {
			shown[string(r.resource)] = *v
		}
	}
	return shown
}

// sizeResources are the costs that are shown by the number of units.
var sizeResources = []struct {
	resource budget.Resource
	unit     string
}{{budget.Flash, "B"}, {budget.Cycles, "cycles"}}

// lossByUnitsFigures returns the loss and the cost against the number of units; none where nothing
// was searched.
func lossByUnitsFigures(s *report.Signoff) []figure {
	points := sizePoints(s)
	if len(points) == 0 {
		return nil
	}
	caption := "On selection recordings. Above: the largest share of any tolerance that the best " +
		"candidate with so many units may use; above the limit it is broken. Below: its cost on " +
		mainTarget(s) + ". The choice has a frame." + s.GivenBreaks()
	if hasTrained(points) {
		caption += " A network that was trained with so many units is judged relative to its own " +
			"float network, all others relative to the network as given."
	}
	return []figure{{Title: "Loss and cost against the number of units", Caption: caption,
		Picture: lossByUnitsPicture(points)}}
}

// sizeScale is where the points of a picture stand from left to right.
type sizeScale struct {
	scale
	places  []float64 // of the points
	half    float64   // width of a bar, halved
	figures []bool    // the points that have room for figures
}

// newSizeScale puts a network that was trained beside the one that is cut to as many units.
func newSizeScale(points []sizePoint, left, right float64) sizeScale {
	const figure, widestBar = 46.0, 28.0 // room of a figure at a mark
	first, last := points[0].units, points[len(points)-1].units
	x := sizeScale{scale: scale{float64(first) - 0.6, float64(last) + 0.6, left, right},
		figures: make([]bool, len(points))}
	width := (right - left) / (x.high - x.low) // of one unit
	x.half = math.Min(widestBar/2, float64(0.35*width))
	if hasTrained(points) {
		x.half = math.Min(widestBar/2, width/6)
	}
	for i, p := range points {
		at := x.at(float64(p.units))
		switch isPair := func(k int) bool {
			return k >= 0 && k < len(points) && points[k].units == p.units
		}; {
		case isPair(i + 1):
			at -= float64(width / 4)
		case isPair(i - 1):
			at += float64(width / 4)
		}
		x.places = append(x.places, at)
	}
	// The choice and what was trained come first; of the others those that leave room. What was
	// trained has its figure in another line.
	for _, isFirst := range []bool{true, false} {
		for i, p := range points {
			hasRoom := true
			for k := range points {
				if x.figures[k] && (points[k].file == "") == (p.file == "") {
					hasRoom = hasRoom && math.Abs(x.places[k]-x.places[i]) >= figure
				}
			}
			x.figures[i] = x.figures[i] || hasRoom && (p.chosen || p.file != "") == isFirst
		}
	}
	return x
}

// hasTrained reports whether a network was trained with its number of units.
func hasTrained(points []sizePoint) bool {
	return slices.ContainsFunc(points, func(p sizePoint) bool { return p.file != "" })
}

// lossByUnitsPicture draws the share of the tolerance as marks and the costs as bars, all above one
// axis of units.
func lossByUnitsPicture(points []sizePoint) template.HTML {
	const height, barHeight, gap, left = 150.0, 54.0, 40.0, 56.0
	first, last := points[0].units, points[len(points)-1].units
	highest := 1.2
	said := fmt.Sprintf("From %d to %d units.", first, last)
	for _, p := range points {
		if p.used != nil {
			highest = math.Max(highest, math.Min(mostTolerance, float64(1.05**p.used)))
		}
		if p.chosen {
			said += fmt.Sprintf(" The choice has %d and may use %s of the tolerance.",
				p.units, report.UsedPercent(p.used))
		}
	}
	d := newDrawing(pictureWidth, 0, said)
	x := newSizeScale(points, left, pictureWidth-10)
	top := 30.0
	if hasTrained(points) {
		top += d.legend(left, pictureWidth, 8, []legendEntry{
			{"cut from the network as given",
				func(d *drawing, x, y float64) { d.mark("square", x+18, y) }},
			{"trained with so many units",
				func(d *drawing, x, y float64) { d.mark("diamond", x+18, y) }},
		})
	}
	y := scale{0, highest, top + height, top}
	d.axisLeft(scale{0, 100 * highest, y.from, y.to}, x.from, x.to,
		"tolerance that may be used, %", 5)
	d.line(x.from, y.from, x.to, y.from, "axis")
	d.line(x.from, y.at(1), x.to, y.at(1), "limit")
	for i, p := range points {
		d.sizeMark(&p, x.places[i], y, x.figures[i])
	}
	bottom := y.from
	for k, r := range sizeResources {
		most := 0.0
		for _, p := range points {
			most = math.Max(most, p.cost[string(r.resource)])
		}
		if most == 0 {
			continue
		}
		bars := scale{0, most, bottom + gap + barHeight, bottom + gap}
		bottom = bars.from
		d.text(x.from-30, bars.to-22, "title", report.Spaced(r.resource))
		d.line(x.from, bars.from, x.to, bars.from, "axis")
		for i, p := range points {
			v, known := p.cost[string(r.resource)]
			if !known {
				continue
			}
			class, above := "bar "+fillClass(k), 3.0
			if p.file != "" {
				class, above = "bar trained", 14
			}
			at := x.places[i]
			d.rect(at-x.half, bars.at(v), float64(2*x.half), bars.from-bars.at(v), class, "")
			if x.figures[i] {
				d.text(at, bars.at(v)-above, "tick mid halo", report.Quantity(v, r.unit))
			}
		}
	}
	for _, v := range x.ticks(min(last-first+1, 14)) {
		if v == math.Round(v) {
			d.text(x.at(v), bottom+14, "tick mid", fmt.Sprint(v))
		}
	}
	d.text((x.from+x.to)/2, bottom+29, "title mid", "hidden units")
	d.height = bottom + 38
	return d.markup()
}

// sizeMark draws the share of the tolerance of one point, and its figure where that has room or is
// beyond the picture.
func (d *drawing) sizeMark(p *sizePoint, at float64, y scale, figure bool) {
	used, network := math.Inf(1), "cut"
	if p.used != nil {
		used = *p.used
	}
	shape := "square"
	if p.file != "" {
		shape, network = "diamond", p.file
	}
	place := y.clamped(used)
	d.markWithTip(shape, at, place,
		fmt.Sprintf("%d units, %d features, %s: %s of the tolerance, %s",
			p.units, p.features, network, report.UsedPercent(p.used), p.row))
	if p.chosen {
		d.path("chosen", markPath("frame", at, place))
	}
	if !figure && used <= y.high {
		return
	}
	text := report.UsedPercent(p.used)
	switch {
	case used > y.high:
		d.text(at, place+18, "value mid halo", text+" ↑")
	// not on the line of the limit, nor on the title of the axis
	case p.file != "", math.Abs(place-13-y.at(1)) < 8, place < y.to+12:
		d.text(at, place+19, "value mid halo", text)
	default:
		d.text(at, place-9, "value mid halo", text)
	}
}

// lossByUnitsTable returns the figures of the picture.
func lossByUnitsTable(s *report.Signoff) report.Table {
	t := report.Table{Title: "Loss and cost by number of units",
		Head: []string{"units", "features", "network", "used", "rise", "from", "up to", "flash",
			"cycles",
			"tightest row"}, Numbers: 3, Words: 1}
	for _, p := range sizePoints(s) {
		row := []string{fmt.Sprint(p.units), fmt.Sprint(p.features), cmp.Or(p.file, "cut"),
			report.UsedPercent(p.used), "", "", ""}
		if l := p.loss; l != nil {
			row[4], row[5], row[6] = report.OptionalPercent(l.Rise),
				report.OptionalPercent(l.RiseLow), report.OptionalPercent(l.RiseHigh)
		}
		for _, r := range sizeResources {
			text := ""
			if v, known := p.cost[string(r.resource)]; known {
				text = report.Quantity(v, r.unit)
			}
			row = append(row, text)
		}
		t.Rows = append(t.Rows, append(row, p.row))
	}
	return t
}
