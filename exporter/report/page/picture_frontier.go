package page

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"kerf/budget"
	"kerf/exporter/report"
)

// of is the cost of a resource, or nil.
func of(c report.CandidateCostRow, resource string) *float64 {
	switch resource {
	case budget.Flash:
		return &c.Flash
	case budget.RAM:
		return &c.RAM
	case budget.Cycles:
		return &c.Cycles
	}
	return c.Energy
}

// frontierView is the picture of all candidates on one target, with the limits
// that can be moved.
type frontierView struct {
	Target  string
	Index   int
	Picture template.HTML
	Limits  []movable
	Table   report.Table
}

// movable is one limit of a target. Without one in the job it stands at the end.
type movable struct {
	ID       string
	Resource string
	Name     string
	Unit     string
	Low      float64
	High     float64
	Value    float64
	Free     bool // the job sets no limit; it stands at the end and holds nothing back
}

// resourceUnits are the costs that a frontier has, in order.
var resourceUnits = []struct{ resource, unit string }{{budget.Flash, "B"}, {budget.RAM, "B"},
	{budget.Cycles, "cycles"}, {budget.Energy, "J"}}

// toleranceResource names the vertical axis among the limits.
const toleranceResource = "tolerance"

// mostTolerance is the top of the picture; candidates beyond stand at its edge.
const mostTolerance = 2.0

func frontierViews(s *report.Signoff) []frontierView {
	f := &s.Frontier
	if len(f.Candidates) == 0 {
		return nil
	}
	var all []frontierView
	for i, target := range s.TargetNames() {
		v := frontierView{Target: target, Index: i}
		top := 1.2
		for _, c := range f.Candidates {
			if c.ToleranceUsed != nil {
				top = math.Max(top, math.Min(mostTolerance, *c.ToleranceUsed*1.05))
			}
		}
		for _, r := range resourceUnits {
			low, high := math.Inf(1), math.Inf(-1)
			for k := range f.Candidates {
				if value := cost(f, k, target, r.resource); value != nil {
					low, high = math.Min(low, *value), math.Max(high, *value)
				}
			}
			if low > high {
				continue // no candidate has it
			}
			room := float64(0.06 * max(high-low, float64(0.05*high)))
			m := movable{ID: fmt.Sprintf("limit-%d-%s", i, r.resource), Resource: r.resource,
				Name: r.resource, Unit: r.unit, Low: low - room, High: high + room}
			m.Value, m.Free = m.High, true
			if l := limitOf(s, target, r.resource); l != nil {
				m.Value, m.Free = *l, false
				m.High = math.Max(m.High, *l*1.02)
			}
			v.Limits = append(v.Limits, m)
		}
		v.Limits = append(v.Limits,
			movable{ID: fmt.Sprintf("limit-%d-%s", i, toleranceResource),
				Resource: toleranceResource, Name: "share of the tolerance", Low: 0, High: top,
				Value: 1})
		v.Picture = picture(f, target, v.Limits)
		v.Table = table(f, target, v.Limits)
		all = append(all, v)
	}
	return all
}

// cost of candidate k on a target, or nil.
func cost(f *report.FrontierInfo, k int, target, resource string) *float64 {
	for _, c := range f.Candidates[k].Cost {
		if c.Target == target {
			return of(c, resource)
		}
	}
	return nil
}

// fits tells whether a candidate is within all limits of a target; signoff.js asks
// the same when a limit is moved.
func fits(f *report.FrontierInfo, k int, target string, limits []movable) bool {
	for _, l := range limits {
		if l.Resource == toleranceResource {
			if used := f.Candidates[k].ToleranceUsed; used == nil || *used > l.Value {
				return false
			}
			continue
		}
		if value := cost(f, k, target, l.Resource); value != nil && !l.Free && *value > l.Value {
			return false
		}
	}
	return true
}

func picture(f *report.FrontierInfo, target string, limits []movable) template.HTML {
	const height, top, left, gap = 230.0, 50.0, 52.0, 18.0
	costs, tolerance := limits[:len(limits)-1], limits[len(limits)-1]
	width := (pictureWidth - left - float64(gap*float64(len(costs)-1)) - 8) / float64(len(costs))
	fit, chosen := 0, "none is chosen"
	for k, c := range f.Candidates {
		if fits(f, k, target, limits) {
			fit++
		}
		if c.Chosen {
			chosen = fmt.Sprintf("number %d is chosen", c.ID)
		}
	}
	d := newDrawing(pictureWidth, top+height+40, fmt.Sprintf("%d candidates on %s, %d of them "+
		"within the limits; %s. Arrow keys go along the frontier.", len(f.Candidates), target, fit,
		chosen))
	d.group = true
	y := scale{0, tolerance.High, top + height, top}
	for i, l := range costs {
		x := scale{l.Low, l.High, left + float64((width+gap)*float64(i)), 0}
		x.to = x.from + width
		// A limit far out does not press the candidates together.
		x.high = math.Min(x.high, end(f, target, l))
		fmt.Fprintf(&d.b, `<g class="panel" data-resource="%s" data-low="%g" data-high="%g" `+
			`data-from="%s" data-to="%s">`, l.Resource, x.low, x.high, place(x.from), place(x.to))
		if i == 0 {
			d.axisLeft(scale{0, 100 * tolerance.High, y.from, y.to}, x.from, x.to, "", 5)
			d.text(x.from-30, 14, "title", "tolerance that may be used, %")
		} else {
			d.line(x.from, y.from, x.from, y.to, "axis")
		}
		unit, per := axisUnit(l.Unit, x.high)
		d.axisBelow(scale{x.low / per, x.high / per, x.from, x.to}, y.from, y.to, l.Name+", "+unit,
			4, nil)
		fmt.Fprintf(&d.b, `<text x="%s" y="%s" class="tick end" data-limit="%s">%s</text>`,
			place(x.to), place(y.to-8), l.Resource, limitText(l))
		for k, c := range f.Candidates {
			value := cost(f, k, target, l.Resource)
			if value == nil {
				continue
			}
			used := math.Inf(1) // at the upper edge
			if c.ToleranceUsed != nil {
				used = *c.ToleranceUsed
			}
			class, shape := "candidate", "small"
			if c.OnFrontier {
				class, shape = class+" frontier", "dot"
			}
			if fits(f, k, target, limits) {
				class += " fits"
			}
			px, py := x.inside(*value), y.inside(used)
			fmt.Fprintf(&d.b, `<path class="mark %s" data-id="%d" d="%s"/>`, class, c.ID,
				markPath(shape, px, py))
			if c.Chosen {
				d.path("chosen", markPath("frame", px, py))
				at, anchor := px+11, ""
				if px > (x.from+x.to)/2 {
					at, anchor = px-11, "end"
				}
				d.text(at, py+4, "value halo "+anchor, "chosen")
			}
		}
		beyond := ""
		if l.Free || l.Value > x.high {
			beyond = " beyond"
		}
		fmt.Fprintf(&d.b, `<g class="limits"><line class="limit%s" data-limit="%s" x1="%s" `+
			`x2="%[3]s" y1="%s" y2="%s"/>`, beyond, l.Resource, place(x.inside(l.Value)),
			place(y.from), place(y.to))
		fmt.Fprintf(&d.b, `<line class="limit" data-limit="%s" data-bottom="%s" data-top="%s" `+
			`data-high="%g" x1="%s" x2="%s" y1="%s" y2="%[7]s"/></g>`, toleranceResource,
			place(y.from), place(y.to), tolerance.High, place(x.from), place(x.to),
			place(y.inside(tolerance.Value)))
		d.b.WriteString("</g>")
	}
	return d.markup()
}

// end is the right end of a panel: the most costly candidate, or a limit not far from it.
func end(f *report.FrontierInfo, target string, l movable) float64 {
	const near = 1.4
	most := math.Inf(-1)
	for k := range f.Candidates {
		if v := cost(f, k, target, l.Resource); v != nil {
			most = math.Max(most, *v)
		}
	}
	if !l.Free && l.Value <= near*most {
		most = math.Max(most, l.Value)
	}
	return most + float64(0.06*math.Max(most-l.Low, float64(0.05*most)))
}

// axisUnit is the unit of an axis, and what one of it is in the unit of signoff.json.
func axisUnit(unit string, high float64) (name string, per float64) {
	switch {
	case unit == "J":
		return "uJ per step", 1e-6
	case unit == "cycles":
		return "thousands per step", 1000
	case high < 4096:
		return "B", 1
	}
	return "KiB", 1024
}

// limitText stands above a panel; signoff.js writes the same when the limit is moved.
func limitText(l movable) string {
	if l.Free {
		return "no limit"
	}
	return "limit " + report.Quantity(l.Value, l.Unit)
}

// table lists the frontier, the cheapest first in the order of the search.
func table(f *report.FrontierInfo, target string, limits []movable) report.Table {
	t := report.Table{Title: "The frontier on " + target,
		Head: []string{"no.", "features", "units", "tolerance used"}, Numbers: 1, Words: 4}
	for _, l := range limits[:len(limits)-1] {
		t.Head = append(t.Head, l.Name)
	}
	// signoff.js finds fits as the fourth from the end
	t.Head = append(t.Head, "fits", "change", "formats", "why not chosen")
	for k, c := range f.Candidates {
		if !c.OnFrontier && !c.Chosen {
			continue
		}
		var units []string
		for _, n := range c.Units {
			units = append(units, fmt.Sprint(n))
		}
		used := report.UsedPercent(c.ToleranceUsed)
		row := []string{fmt.Sprint(c.ID), fmt.Sprint(c.Features), strings.Join(units, "+"), used}
		for _, l := range limits[:len(limits)-1] {
			row = append(row,
				report.Optional(cost(f, k, target, l.Resource), func(v float64) string {
					return report.Quantity(v, l.Unit)
				}))
		}
		inLimits, why := "no", c.Why
		if fits(f, k, target, limits) {
			inLimits = "yes"
		}
		if c.Chosen {
			why = strings.TrimSuffix("chosen: "+why, ": ")
		}
		t.Rows = append(t.Rows, append(row, inLimits, c.Change, c.Formats, why))
	}
	return t
}
