package page

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/exporter/report"
)

// frontierView is the picture of all candidates on one target, with the limits that the reader can
// move.
type frontierView struct {
	Target  string
	Index   int  // of the target
	Main    bool // the choice is nearest to a limit here: the target that is printed
	Picture template.HTML
	Limits  []limitSlider // of the costs, then of the share of the tolerance
}

// limitSlider is one limit on a target that the reader can move.
type limitSlider struct {
	ID        string          // of the element on the page
	Resource  budget.Resource // of the costs, or toleranceResource
	Name      string
	Unit      string
	Low, High float64 // the ends of the slider
	Value     float64 // where the slider begins
	Free      bool    // the job sets no limit: the slider begins at High and holds nothing back
}

// sliderResources are the costs that a candidate has, in the order of the sliders and panels.
var sliderResources = []struct {
	resource budget.Resource
	unit     string
}{{budget.Flash, "B"}, {budget.RAM, "B"}, {budget.Cycles, "cycles"}, {budget.Energy, "J"}}

// toleranceResource names the share of the tolerance, the vertical axis, among the limits.
const toleranceResource = "tolerance"

// mostTolerance is the largest share of the tolerance that the picture shows. Candidates beyond it
// stand at the upper edge.
const mostTolerance = 2.0

// frontierViews returns a view per target; none where nothing was searched.
func frontierViews(s *report.Signoff) []frontierView {
	f := &s.Frontier
	if len(f.Candidates) == 0 {
		return nil
	}
	var all []frontierView
	for i, target := range s.TargetNames() {
		v := frontierView{Target: target, Index: i}
		for _, r := range sliderResources {
			if l, known := costSlider(s, target, r.resource); known {
				l.ID, l.Unit = fmt.Sprintf("limit-%d-%s", i, r.resource), r.unit
				v.Limits = append(v.Limits, l)
			}
		}
		v.Limits = append(v.Limits,
			limitSlider{ID: fmt.Sprintf("limit-%d-%s", i, toleranceResource),
				Resource: toleranceResource, Name: "share of the tolerance", Low: 0,
				High: largestShown(f), Value: 1})
		v.Picture = frontierPicture(f, target, v.Limits)
		all = append(all, v)
	}
	if len(all) > 0 {
		all[max(0, slices.IndexFunc(all, func(v frontierView) bool {
			return v.Target == mainTarget(s)
		}))].Main = true
	}
	return all
}

// mainTarget returns the target on which the choice takes most of a limit, or the first one.
func mainTarget(s *report.Signoff) string {
	main, most := "", -1.0
	for _, c := range s.Frontier.Candidates {
		for _, cost := range c.Cost {
			if used := cost.LimitsUsed; c.Chosen && used != nil && *used > most {
				main, most = cost.Target, *used
			}
		}
	}
	if names := s.TargetNames(); main == "" && len(names) > 0 {
		main = names[0]
	}
	return main
}

// largestShown returns the share of the tolerance at the upper edge: that of the candidate that
// uses most, and some room, between 1.2 and mostTolerance.
func largestShown(f *report.FrontierInfo) float64 {
	top := 1.2
	for _, c := range f.Candidates {
		if c.ToleranceUsed != nil {
			top = math.Max(top, math.Min(mostTolerance, *c.ToleranceUsed*1.05))
		}
	}
	return top
}

// costSlider returns the slider of a resource, from the cheapest candidate to the most costly one
// or the limit of the job. It is not known where no candidate has the resource.
func costSlider(s *report.Signoff, target string,
	resource budget.Resource) (l limitSlider, known bool) {
	low, high := math.Inf(1), math.Inf(-1)
	for k := range s.Frontier.Candidates {
		if value := candidateCost(&s.Frontier, k, target, resource); value != nil {
			low, high = math.Min(low, *value), math.Max(high, *value)
		}
	}
	if low > high {
		return limitSlider{}, false
	}
	room := float64(0.06 * max(high-low, float64(0.05*high)))
	l = limitSlider{Resource: resource, Name: string(resource), Low: low - room, High: high + room}
	l.Value, l.Free = l.High, true
	if limit := totalLimit(s, target, resource); limit != nil {
		l.Value, l.Free = *limit, false
		l.High = math.Max(l.High, *limit*1.02)
	}
	return l, true
}

// candidateCost returns what candidate k costs on a target, nil where that is not known.
func candidateCost(f *report.FrontierInfo, k int, target string,
	resource budget.Resource) *float64 {
	return costOn(f.Candidates[k].Cost, target, resource)
}

// costOn returns the cost on a target among those of all, nil where that is not known.
func costOn(costs []report.CandidateCostRow, target string, resource budget.Resource) *float64 {
	for i := range costs {
		c := &costs[i]
		if c.Target != target {
			continue
		}
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
	return nil
}

// withinLimits reports whether candidate k is within all limits of a target. signoff.js asks the
// same when a limit is moved.
func withinLimits(f *report.FrontierInfo, k int, target string, limits []limitSlider) bool {
	for _, l := range limits {
		if l.Resource == toleranceResource {
			if used := f.Candidates[k].ToleranceUsed; used == nil || *used > l.Value {
				return false
			}
			continue
		}
		value := candidateCost(f, k, target, l.Resource)
		if value != nil && !l.Free && *value > l.Value {
			return false
		}
	}
	return true
}

// frontierPicture draws a panel per resource: the cost of a candidate to the right, the share of
// the tolerance upwards. The data attributes tell signoff.js where a limit stands.
func frontierPicture(f *report.FrontierInfo, target string, limits []limitSlider) template.HTML {
	const height, top, left, gap = 230.0, 50.0, 52.0, 18.0
	costs, tolerance := limits[:len(limits)-1], limits[len(limits)-1]
	width := (pictureWidth - left - float64(gap*float64(len(costs)-1)) - 8) / float64(len(costs))
	fit, chosen := 0, "none is chosen"
	for k, c := range f.Candidates {
		if withinLimits(f, k, target, limits) {
			fit++
		}
		if c.Chosen {
			chosen = fmt.Sprintf("number %d is chosen", c.ID)
		}
	}
	d := newDrawing(pictureWidth, top+height+40, fmt.Sprintf("%d candidates on %s, %d of them "+
		"within the limits; %s. Arrow keys go along the frontier.", len(f.Candidates), target, fit,
		chosen))
	d.hasParts = true
	y := scale{0, tolerance.High, top + height, top}
	for i, l := range costs {
		x := scale{l.Low, l.High, left + float64((width+gap)*float64(i)), 0}
		x.to = x.from + width
		// A limit far out does not press the candidates together.
		x.high = math.Min(x.high, panelEnd(f, target, l))
		fmt.Fprintf(&d.b, `<g class="panel" data-resource="%s" data-low="%g" data-high="%g" `+
			`data-from="%s" data-to="%s">`, l.Resource, x.low, x.high, pixels(x.from), pixels(x.to))
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
			pixels(x.to), pixels(y.to-8), l.Resource, limitText(l))
		for k, c := range f.Candidates {
			if cost := candidateCost(f, k, target, l.Resource); cost != nil {
				d.candidate(c, *cost, withinLimits(f, k, target, limits), x, y)
			}
		}
		d.limitLines(l, tolerance, x, y)
		d.b.WriteString("</g>")
	}
	return d.markup()
}

// candidate marks a candidate in a panel, at its cost and its share of the tolerance.
func (d *drawing) candidate(c report.CandidateRow, cost float64, fits bool, x, y scale) {
	used := math.Inf(1) // at the upper edge
	if c.ToleranceUsed != nil {
		used = *c.ToleranceUsed
	}
	class, shape := "candidate", "small"
	if c.OnFrontier {
		class, shape = class+" frontier", "dot"
	}
	if fits {
		class += " fits"
	}
	px, py := x.clamped(cost), y.clamped(used)
	fmt.Fprintf(&d.b, `<path class="mark %s" data-id="%d" d="%s"/>`, class, c.ID,
		markPath(shape, px, py))
	if !c.Chosen {
		return
	}
	d.path("chosen", markPath("frame", px, py))
	at, anchor := px+11, ""
	if px > (x.from+x.to)/2 {
		at, anchor = px-11, "end"
	}
	d.text(at, py+4, "value halo "+anchor, "chosen")
}

// limitLines draws the limit on the cost and the limit on the share of the tolerance in a panel.
func (d *drawing) limitLines(cost, tolerance limitSlider, x, y scale) {
	beyond := ""
	if cost.Free || cost.Value > x.high {
		beyond = " beyond"
	}
	fmt.Fprintf(&d.b, `<g class="limits"><line class="limit%s" data-limit="%s" x1="%s" `+
		`x2="%[3]s" y1="%s" y2="%s"/>`, beyond, cost.Resource, pixels(x.clamped(cost.Value)),
		pixels(y.from), pixels(y.to))
	fmt.Fprintf(&d.b, `<line class="limit" data-limit="%s" data-bottom="%s" data-top="%s" `+
		`data-high="%g" x1="%s" x2="%s" y1="%s" y2="%[7]s"/></g>`, toleranceResource,
		pixels(y.from), pixels(y.to), tolerance.High, pixels(x.from), pixels(x.to),
		pixels(y.clamped(tolerance.Value)))
}

// panelEnd returns the largest cost that a panel shows: that of the most costly candidate or a
// limit not far from it, and some room.
func panelEnd(f *report.FrontierInfo, target string, l limitSlider) float64 {
	const near = 1.4 // times the most costly candidate
	most := math.Inf(-1)
	for k := range f.Candidates {
		if v := candidateCost(f, k, target, l.Resource); v != nil {
			most = math.Max(most, *v)
		}
	}
	if !l.Free && l.Value <= near*most {
		most = math.Max(most, l.Value)
	}
	return most + float64(0.06*math.Max(most-l.Low, float64(0.05*most)))
}

// axisUnit returns the unit of an axis, and what one of it is in the unit of signoff.json.
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

// limitText returns the limit as it stands above a panel. signoff.js writes the same when the limit
// is moved.
func limitText(l limitSlider) string {
	if l.Free {
		return "no limit"
	}
	return "limit " + report.Quantity(l.Value, l.Unit)
}

// nearCandidates is how many candidates the table shows. Our choice: a third of a printed page.
const nearCandidates = 20

// nearestTable lists the choice and the candidates nearest to it in the share of the tolerance that
// may be used and the cost that the search minimises, both as shares: the nearest first.
func nearestTable(s *report.Signoff) table {
	f := &s.Frontier
	distance := make([]float64, len(f.Candidates))
	chosen := slices.IndexFunc(f.Candidates, func(c report.CandidateRow) bool { return c.Chosen })
	for i, c := range f.Candidates {
		switch {
		case chosen < 0:
			continue
		case i == chosen:
			distance[i] = -1 // in front of those that are alike
			continue
		}
		distance[i] = math.Inf(1)
		if at := f.Candidates[chosen]; c.ToleranceUsed != nil && at.ToleranceUsed != nil {
			distance[i] = math.Hypot(*c.ToleranceUsed-*at.ToleranceUsed,
				c.ObjectiveUsed-at.ObjectiveUsed)
		}
	}
	order := make([]int, len(f.Candidates))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(distance[a], distance[b])
	})
	n := min(nearCandidates, len(order))
	t := report.Table{Title: fmt.Sprintf("The choice and the %d candidates nearest to it, of %d",
		max(0, n-1), len(order)),
		Head: []string{"no.", "change", "features", "units", "used", "cost", "fits",
			"outcome"}, Numbers: 2, Words: 2}
	for _, i := range order[:n] {
		c := f.Candidates[i]
		var units []string
		for _, n := range c.Units {
			units = append(units, fmt.Sprint(n))
		}
		fits, outcome := "no", c.Why
		if c.ToleranceUsed != nil && *c.ToleranceUsed <= 1 && !isBroken(&c) {
			fits = "yes"
		}
		if c.Chosen {
			outcome = "chosen"
		}
		t.Rows = append(t.Rows, []string{fmt.Sprint(c.ID), c.Change, fmt.Sprint(c.Features),
			strings.Join(units, "+"), report.UsedPercent(c.ToleranceUsed),
			report.Percent(c.ObjectiveUsed), fits, outcome})
	}
	return candidateRows(t)
}

// isBroken reports whether a candidate breaks a limit on any target.
func isBroken(c *report.CandidateRow) bool {
	return slices.ContainsFunc(c.Cost, func(cost report.CandidateCostRow) bool {
		return len(cost.Broken) > 0
	})
}

// candidateRows shows a table of candidates with all its columns, which signoff.js reads and
// writes: rows are found by their ID, the column "fits" by its head.
func candidateRows(t report.Table) table {
	shown := table{Title: t.Title}
	for i, head := range t.Head {
		shown.Head = append(shown.Head, column{head, t.RightAligned(i)})
	}
	for _, cells := range t.Rows {
		row := tableRow{ID: cells[0]}
		for i, text := range cells {
			row.Cells = append(row.Cells, cell{column: shown.Head[i], Text: noBreak(text)})
		}
		shown.Rows = append(shown.Rows, row)
	}
	return shown
}
