package page

import (
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
		p := sizePoint{units: units, features: c.Features, row: c.RowInWords,
			used: c.ToleranceUsed, chosen: c.Chosen, cost: map[string]float64{}}
		for _, r := range sizeResources {
			if v := candidateCost(f, k, target, r.resource); v != nil {
				p.cost[string(r.resource)] = *v
			}
		}
		if i := slices.IndexFunc(f.ByUnits, func(u report.UnitRow) bool {
			return u.Units == units
		}); i >= 0 {
			p.loss = &f.ByUnits[i]
		}
		all = append(all, p)
	}
	slices.SortFunc(all, func(a, b sizePoint) int { return a.units - b.units })
	return all
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
		mainTarget(s) + ". The choice has a frame."
	return []figure{{Title: "Loss and cost against the number of units", Caption: caption,
		Picture: lossByUnitsPicture(points)}}
}

// lossByUnitsPicture draws the share of the tolerance as marks and the costs as bars, all above one
// axis of units.
func lossByUnitsPicture(points []sizePoint) template.HTML {
	const height, barHeight, gap, top, left = 150.0, 54.0, 34.0, 30.0, 56.0
	first, last := points[0].units, points[len(points)-1].units
	highest := 1.2
	for _, p := range points {
		if p.used != nil {
			highest = math.Max(highest, math.Min(mostTolerance, float64(1.05**p.used)))
		}
	}
	x := scale{float64(first) - 0.6, float64(last) + 0.6, left, pictureWidth - 10}
	y := scale{0, highest, top + height, top}
	said := fmt.Sprintf("From %d to %d units.", first, last)
	for _, p := range points {
		if p.chosen {
			said += fmt.Sprintf(" The choice has %d and may use %s of the tolerance.",
				p.units, report.UsedPercent(p.used))
		}
	}
	d := newDrawing(pictureWidth, 0, said)
	d.axisLeft(scale{0, 100 * highest, y.from, y.to}, x.from, x.to,
		"tolerance that may be used, %", 5)
	d.line(x.from, y.from, x.to, y.from, "axis")
	d.line(x.from, y.at(1), x.to, y.at(1), "limit")
	width := (x.to - x.from) / (x.high - x.low) // of one unit
	const room = 44.0                           // of a figure at a mark
	every := int(math.Ceil(room / width))
	for i, p := range points {
		at := x.at(float64(p.units))
		used := math.Inf(1)
		if p.used != nil {
			used = *p.used
		}
		tip := fmt.Sprintf("%d units, %d features: %s of the tolerance, %s", p.units, p.features,
			report.UsedPercent(p.used), p.row)
		py := y.clamped(used)
		d.markWithTip("square", at, py, tip)
		if p.chosen {
			d.path("chosen", markPath("frame", at, py))
		}
		if i%every == 0 || p.chosen {
			text, place := report.UsedPercent(p.used), py-9
			if used > highest {
				text, place = text+" ↑", py+16
			}
			d.text(at, place, "value mid halo", text)
		}
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
		d.text(x.from-30, bars.to-14, "title", report.Spaced(r.resource))
		d.line(x.from, bars.from, x.to, bars.from, "axis")
		for i, p := range points {
			v, known := p.cost[string(r.resource)]
			if !known {
				continue
			}
			at, half := x.at(float64(p.units)), math.Min(14, float64(0.35*width))
			d.rect(at-half, bars.at(v), float64(2*half), bars.from-bars.at(v), "bar "+fillClass(k),
				"")
			if i%every == 0 || p.chosen {
				d.text(at, bars.at(v)-3, "tick mid halo", report.Quantity(v, r.unit))
			}
		}
	}
	units := x
	ticks := units.ticks(min(last-first+1, 14))
	for _, v := range ticks {
		if v == math.Round(v) {
			d.text(x.at(v), bottom+14, "tick mid", fmt.Sprint(v))
		}
	}
	d.text((x.from+x.to)/2, bottom+29, "title mid", "hidden units")
	d.height = bottom + 38
	return d.markup()
}

// lossByUnitsTable returns the figures of the picture.
func lossByUnitsTable(s *report.Signoff) report.Table {
	t := report.Table{Title: "Loss and cost by number of units",
		Head: []string{"units", "features", "used", "rise", "from", "up to", "flash", "cycles",
			"tightest row"}, Numbers: 0, Words: 1}
	for _, p := range sizePoints(s) {
		row := []string{fmt.Sprint(p.units), fmt.Sprint(p.features), report.UsedPercent(p.used),
			"", "", ""}
		if l := p.loss; l != nil {
			row[3], row[4], row[5] = report.OptionalPercent(l.Rise),
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
