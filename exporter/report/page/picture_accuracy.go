package page

import (
	"fmt"
	"html/template"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/report"
)

// accuracyFigures returns the error of every output in every scenario and region, a figure per
// output.
func accuracyFigures(s *report.Signoff) []figure {
	var all []figure
	var rows []report.LossRow // of one output
	flush := func() {
		if len(rows) > 0 {
			all = append(all, figure{
				Title: fmt.Sprintf("%s of %s by scenario and region", errorOrAccuracy(&rows[0]),
					rows[0].Output),
				Caption: "On the " + string(s.MeasuredOn) +
					" recordings. Left: the network as given, " +
					"the cut network, both in float, and the integer network of the C. Right: " +
					"what the integer network loses against the float network on the same " +
					"steps, with its 95\u00a0% interval, which must lie left of the limit.",
				Picture: accuracyPicture(rows),
			})
		}
		rows = nil
	}
	for _, l := range s.Loss {
		if len(rows) > 0 && l.Output != rows[0].Output {
			flush()
		}
		if l.Sequences > 0 && l.Metric == shownMetric(s, l.Output) {
			rows = append(rows, l)
		}
	}
	flush()
	return all
}

// shownMetric returns the first metric of an output that has a tolerance, or its first metric.
func shownMetric(s *report.Signoff, output string) dataset.Metric {
	var first dataset.Metric
	for _, l := range s.Loss {
		if l.Output != output {
			continue
		}
		if l.Tolerance != nil {
			return l.Metric
		}
		if first == "" {
			first = l.Metric
		}
	}
	return first
}

// accuracyPicture draws a row per scenario and region of one output: the errors of the three
// networks on the left, the rise of the error on the right.
func accuracyPicture(rows []report.LossRow) template.HTML {
	const row, top, apart = 30.0, 34.0, 7.0
	const longestName = 250 // pixels
	var names []string
	var errorRange, riseRange extent
	for _, l := range rows {
		names = append(names, l.WhereName())
		errorRange.include(&l.Float, &l.Cut, &l.Fixed, errorLimit(&l), l.Recovered)
		if l.ToleranceOn != budget.OnRise {
			errorRange.include(l.FixedLow, l.FixedHigh)
		}
		riseRange.include(l.Rise, l.RiseLow, l.RiseHigh, riseLimit(&l))
	}
	nameWidth := widestText(longestName, names...)
	left := nameWidth + 14
	half := float64((pictureWidth - 80 - left) / 2)
	errors := scale{errorRange.low, float64(1.04 * errorRange.high), left, left + half - 16}
	rises := scale{float64(104 * riseRange.low), float64(104 * riseRange.high), left + half + 16,
		left + float64(2*half)} // in percent
	bottom := top + float64(row*float64(len(rows)))
	title := metricTitle(&rows[0])
	d := newDrawing(pictureWidth, bottom+36, fmt.Sprintf("%s in %d places. All: float %s, cut "+
		"%s, fixed %s. The table below has every figure.", title, len(rows),
		report.Significant(rows[0].Float), report.Significant(rows[0].Cut),
		report.Significant(rows[0].Fixed)))
	d.axisBelow(errors, bottom, top, title, 6, nil)
	d.axisBelow(rises, bottom, top, "fixed against float, "+riseUnit(&rows[0]), 6, nil)
	d.line(rises.at(0), top, rises.at(0), bottom, "axis")
	key := errors.from
	for _, k := range [][2]string{{"ring", "float"}, {"diamond", "cut"},
		{"square", "fixed, with 95\u00a0% interval where it decides"}} {
		d.mark(k[0], key+6, 12)
		d.text(key+16, 16, "", k[1])
		key += textWidth(k[1]) + 36
	}
	d.line(key+4, 5, key+4, 19, "limit")
	d.text(key+12, 16, "", "limit")
	for i, l := range rows {
		y := top + float64(row*(float64(i)+0.5))
		d.shortText(nameWidth, y+4, "end", l.WhereName(), nameWidth)
		d.line(errors.from, y, errors.to, y, "grid")
		d.line(rises.from, y, rises.to, y, "grid")
		if l.ToleranceOn == budget.OnFixed {
			d.intervalAcross(errors, l.FixedLow, l.FixedHigh, y+apart)
		}
		d.mark("ring", errors.at(l.Float), y-apart)
		d.mark("diamond", errors.at(l.Cut), y)
		d.mark("square", errors.at(l.Fixed), y+apart)
		if limit := errorLimit(&l); limit != nil {
			d.line(errors.at(*limit), y-12, errors.at(*limit), y+12, "limit")
		}
		if l.Rise != nil {
			d.intervalAcross(rises, inPercent(l.RiseLow), inPercent(l.RiseHigh), y)
			d.mark("square", rises.at(100**l.Rise), y)
			if limit := riseLimit(&l); limit != nil {
				d.line(rises.at(100**limit), y-12, rises.at(100**limit), y+12, "limit")
			}
		}
		d.text(rises.to+10, y+4, "", report.ShortVerdict(l.Verdict))
	}
	return d.markup()
}

// errorLimit returns the tolerance on the error itself; nil where the tolerance is on the rise.
func errorLimit(l *report.LossRow) *float64 {
	if l.ToleranceOn == budget.OnFixed {
		return l.Tolerance
	}
	return nil
}

// riseLimit returns the tolerance on the rise of the error; nil where it is on the error itself.
func riseLimit(l *report.LossRow) *float64 {
	if l.ToleranceOn == budget.OnRise {
		return l.Tolerance
	}
	return nil
}

// metricTitle returns the title of the axis of errors.
func metricTitle(l *report.LossRow) string {
	title := report.Spaced(l.Metric) + " of " + l.Output
	if l.Unit != "" {
		title += ", " + l.Unit
	}
	return title
}

// measured says in a word what a row holds.
func errorOrAccuracy(l *report.LossRow) string {
	if isAccuracy(l) {
		return "Accuracy"
	}
	return "Error"
}

// falls reports whether less is worse.
func isAccuracy(l *report.LossRow) bool {
	switch dataset.Metric(l.Metric) {
	case dataset.Accuracy, dataset.BalancedAccuracy, dataset.Agreement:
		return true
	}
	return false
}

// riseUnit returns the unit of the right half: an error rises, an accuracy falls.
func riseUnit(l *report.LossRow) string {
	if isAccuracy(l) {
		return "percentage points lost"
	}
	return "rise in %"
}
