package page

import (
	"fmt"
	"html/template"
	"math"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/report"
)

// accuracyFigures returns a figure for every output and every metric of it that is judged, with the
// rows that have a verdict; of a job without a tolerance one per output, with its first metric.
func accuracyFigures(s *report.Signoff) []figure {
	type subject struct {
		output string
		metric dataset.Metric
	}
	var order []subject
	rows := map[subject][]report.LossRow{}
	add := func(l report.LossRow) {
		at := subject{l.Output, l.Metric}
		if len(rows[at]) == 0 {
			order = append(order, at)
		}
		rows[at] = append(rows[at], l)
	}
	for _, l := range s.Loss {
		if l.Verdict != "" {
			add(l)
		}
	}
	if len(order) == 0 {
		first := map[string]dataset.Metric{}
		for _, l := range s.Loss {
			if first[l.Output] == "" {
				first[l.Output] = l.Metric
			}
			if l.Metric == first[l.Output] && l.Sequences > 0 {
				add(l)
			}
		}
	}
	var all []figure
	for _, at := range order {
		for _, part := range equalParts(rows[at], accuracyRowsPerPicture) {
			all = append(all, accuracyFigure(s, part))
		}
	}
	return all
}

// accuracyRowsPerPicture is rowsPerPicture for rows of 26 pixels: 32 of them are as high as 44 of
// 19.
const accuracyRowsPerPicture = 32

// accuracyFigure returns the figure of some rows of one output and metric.
func accuracyFigure(s *report.Signoff, rows []report.LossRow) figure {
	first := &rows[0]
	caption := "On the " + string(s.MeasuredOn) + " recordings: "
	switch {
	case first.Verdict == "":
		caption += "the job gives no tolerance."
	case first.ToleranceOn == budget.OnRise:
		caption += "left the values, right the change from float to fixed with its 95\u00a0% " +
			"interval, which must end left of the limit."
	case first.Metric == dataset.MaxError:
		caption += "fixed must lie left of the limit."
	case first.Metric == dataset.Explained:
		caption += "fixed with its 95\u00a0% interval, which must lie right of the limit."
	case first.Metric == dataset.Bias:
		caption += "fixed with its 95\u00a0% interval, which must lie between the limits."
	default:
		caption += "fixed with its 95\u00a0% interval, which must end left of the limit."
	}
	return figure{Title: metricTitle(first) + ", by scenario and region", Caption: caption,
		Picture: accuracyPicture(rows)}
}

// accuracyPicture draws a row per scenario and region of one output and metric: the values of the
// networks, and where a tolerance is on it the rise beside them. A row that does not pass stands on
// a band.
func accuracyPicture(rows []report.LossRow) template.HTML {
	const row, apart, outcome = 26.0, 6.5, 160.0
	const longestName = 250 // pixels
	var names []string
	hasRise, hasLimit, hasInterval, hasRecovered := false, false, false, false
	for _, l := range rows {
		names = append(names, l.WhereName())
		hasRise = hasRise || l.ToleranceOn == budget.OnRise
		hasLimit = hasLimit || l.Tolerance != nil
		hasInterval = hasInterval || l.ToleranceOn != "" && l.Metric != dataset.MaxError
		hasRecovered = hasRecovered || l.Recovered != nil
	}
	nameWidth := widestText(longestName, names...)
	left, right := nameWidth+14, pictureWidth-outcome
	values, rises := valueRange(rows), riseRange(rows)
	values.from, values.to = left, right
	if hasRise {
		values.to = float64((left+right)/2) - 16
		rises.from, rises.to = values.to+32, right
	}
	d := newDrawing(pictureWidth, 0, accuracyInWords(rows))
	top := 14 + d.legend(left, pictureWidth, 12,
		accuracyLegend(hasRecovered, hasInterval, hasLimit))
	bottom := top + float64(row*float64(len(rows)))
	d.height = bottom + 36
	for i, l := range rows {
		if class := rowClass(l.Verdict); class != "" {
			d.rect(0, top+float64(row*float64(i))+1, pictureWidth, row-2, "band "+class, "")
		}
	}
	per := valueFactor(&rows[0])
	d.axisBelow(values, bottom, top, metricUnit(&rows[0]), 6, nil)
	if values.low < 0 && values.high > 0 {
		d.line(values.at(0), top, values.at(0), bottom, "axis")
	}
	if hasRise {
		d.axisBelow(rises, bottom, top, "fixed against float, "+riseUnit(&rows[0]), 6, nil)
		d.line(rises.at(0), top, rises.at(0), bottom, "axis")
	}
	scaled := func(v *float64) *float64 {
		if v == nil {
			return nil
		}
		product := per * *v
		return &product
	}
	for i, l := range rows {
		y := top + float64(row*(float64(i)+0.5))
		d.shortText(nameWidth, y+4, "end", l.WhereName(), nameWidth)
		text := report.ShortVerdict(l.Verdict)
		if used := report.UsedPercent(l.Used()); used != "" {
			text += ", " + used
		}
		d.text(right+10, y+4, "outcome "+rowClass(l.Verdict), text)
		if l.Sequences == 0 {
			d.text(values.from+4, y+4, "quiet", "no recordings")
			continue
		}
		d.line(values.from, y, values.to, y, "grid")
		for _, limit := range valueLimits(&l) {
			d.line(values.at(per*limit), y-11, values.at(per*limit), y+11, "limit")
		}
		if l.ToleranceOn == budget.OnFixed && l.Metric != dataset.MaxError {
			d.intervalAcross(values, scaled(l.FixedLow), scaled(l.FixedHigh), y+apart)
		}
		d.mark("ring", values.at(per*l.Float), y-apart)
		d.mark("diamond", values.at(per*l.Cut), y)
		if l.Recovered != nil {
			d.mark("cross", values.at(per**l.Recovered), y)
		}
		d.mark("square", values.at(per*l.Fixed), y+apart)
		if !hasRise {
			continue
		}
		d.line(rises.from, y, rises.to, y, "grid")
		if limit := riseLimit(&l); limit != nil {
			d.line(rises.at(100**limit), y-11, rises.at(100**limit), y+11, "limit")
		}
		if l.Rise != nil {
			d.intervalAcross(rises, inPercent(l.RiseLow), inPercent(l.RiseHigh), y)
			d.mark("square", rises.at(100**l.Rise), y)
		}
	}
	return d.markup()
}

// accuracyInWords is the text alternative of the picture: the row that uses most of its tolerance.
func accuracyInWords(rows []report.LossRow) string {
	title := metricTitle(&rows[0])
	worst, failed := &rows[0], 0
	for i := range rows {
		l := &rows[i]
		if l.Verdict == budget.Fail {
			failed++
		}
		if used := l.Used(); used != nil && (worst.Used() == nil || *used > *worst.Used()) {
			worst = l
		}
	}
	text := fmt.Sprintf("%s in %s, %d of them fail. %s: float %s, cut %s, fixed %s", title,
		report.Plural(len(rows), "place"), failed, worst.WhereName(),
		report.Significant(worst.Float), report.Significant(worst.Cut),
		report.Significant(worst.Fixed))
	if used := worst.Used(); used != nil {
		text += ", " + report.UsedPercent(used) + " of the tolerance used"
	}
	return text + ". The table below has every figure."
}

// accuracyLegend lists the marks of the picture.
func accuracyLegend(hasRecovered, hasInterval, hasLimit bool) []legendEntry {
	var d []legendEntry
	add := func(name string, draw func(d *drawing, x, y float64)) {
		d = append(d, legendEntry{name, draw})
	}
	mark := func(shape string) func(d *drawing, x, y float64) {
		return func(d *drawing, x, y float64) { d.mark(shape, x+18, y) }
	}
	add("float", mark("ring"))
	add("cut", mark("diamond"))
	if hasRecovered {
		add("recovered", mark("cross"))
	}
	if hasInterval {
		add("fixed, with 95\u00a0% interval where it decides", mark("square"))
	} else {
		add("fixed", mark("square"))
	}
	if hasLimit {
		add("limit",
			func(d *drawing, x, y float64) { d.line(x+18, y-7, x+18, y+7, "limit") })
	}
	return d
}

// valueFactor is what values are multiplied with for the axis: an explained share is in percent.
func valueFactor(l *report.LossRow) float64 {
	if l.Metric == dataset.Explained {
		return 100
	}
	return 1
}

// valueLimits returns the limits on the value itself: none where the tolerance is on the rise, two
// for a bias, which may be above or below 0.
func valueLimits(l *report.LossRow) []float64 {
	switch {
	case l.ToleranceOn != budget.OnFixed || l.Tolerance == nil:
		return nil
	case l.Metric == dataset.Bias:
		return []float64{-*l.Tolerance, *l.Tolerance}
	}
	return []float64{*l.Tolerance}
}

// riseLimit returns the tolerance on the rise of the error; nil where it is on the error itself.
func riseLimit(l *report.LossRow) *float64 {
	if l.ToleranceOn == budget.OnRise {
		return l.Tolerance
	}
	return nil
}

// valueRange returns a scale that holds the values of rows and their limits. Errors count from 0;
// shares lie close together, often near 1, and begin at the least of them.
func valueRange(rows []report.LossRow) scale {
	per := valueFactor(&rows[0])
	isShare := rows[0].Metric.IsShare() || rows[0].Metric == dataset.Explained
	e := extent{}
	if isShare {
		e = extent{math.Inf(1), math.Inf(-1)}
	}
	include := func(v *float64) {
		if v != nil {
			product := per * *v
			e.include(&product)
		}
	}
	for _, l := range rows {
		if l.Sequences == 0 {
			continue
		}
		include(&l.Float)
		include(&l.Cut)
		include(&l.Fixed)
		include(l.Recovered)
		for _, limit := range valueLimits(&l) {
			include(&limit)
		}
		if l.ToleranceOn == budget.OnFixed && l.Metric != dataset.MaxError {
			include(l.FixedLow)
			include(l.FixedHigh)
		}
	}
	if e.low > e.high {
		return scale{0, 1, 0, 0}
	}
	room := float64(0.04 * (e.high - e.low))
	s := scale{low: e.low, high: e.high + room}
	if isShare || s.low < 0 {
		s.low -= room
	}
	if s.low == s.high {
		s.high++
	}
	return s
}

// riseRange returns a scale in percent that holds the rises of rows with their limits.
func riseRange(rows []report.LossRow) scale {
	var e extent
	for _, l := range rows {
		e.include(inPercent(l.Rise), inPercent(l.RiseLow), inPercent(l.RiseHigh),
			inPercent(riseLimit(&l)))
	}
	room := float64(0.04 * (e.high - e.low))
	return scale{low: e.low - room, high: e.high + room}
}

// metricTitle returns the metric with its output and unit.
func metricTitle(l *report.LossRow) string { return withUnit(l, " of "+l.Output) }

// metricUnit returns the metric with its unit.
func metricUnit(l *report.LossRow) string { return withUnit(l, "") }

// withUnit returns the metric with a text and the unit behind it.
func withUnit(l *report.LossRow, text string) string {
	title := report.Spaced(l.Metric) + text
	switch {
	case l.Metric == dataset.Explained:
		title += ", %"
	case l.Unit != "":
		title += ", " + l.Unit
	}
	return title
}

// riseUnit returns the unit of the right half: an error rises, an accuracy falls.
func riseUnit(l *report.LossRow) string {
	if l.Metric.IsShare() {
		return "percentage points lost"
	}
	return "rise in %"
}
