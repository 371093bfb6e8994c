package page

import (
	"fmt"
	"html/template"

	"kerf/dataset"
	"kerf/exporter/report"
)

// accuracyFigures show the error of every output in every scenario and region.
func accuracyFigures(s *report.Signoff) []figure {
	var all []figure
	var rows []report.LossRow
	flush := func() {
		if len(rows) > 0 {
			all = append(all, figure{
				Title: fmt.Sprintf("%s of %s by scenario and region", measured(&rows[0]),
					rows[0].Output),
				Caption: "On the " + s.MeasuredOn + " recordings. Left: the network as given, " +
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
		if l.Sequences > 0 && l.Metric == mainMetric(s, l.Output) {
			rows = append(rows, l)
		}
	}
	flush()
	return all
}

// mainMetric is the first judged metric of an output, or its first.
func mainMetric(s *report.Signoff, output string) string {
	first := ""
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

func accuracyPicture(rows []report.LossRow) template.HTML {
	const row, top, apart = 30.0, 34.0, 7.0
	var names []string
	low, high := 0.0, 0.0
	risen := interval{}
	for _, l := range rows {
		names = append(names, l.WhereInWords())
		for _, v := range []*float64{&l.Float, &l.Cut, &l.Fixed, errorLimit(&l), l.Recovered} {
			if v != nil {
				low, high = min(low, *v), max(high, *v)
			}
		}
		if l.ToleranceOn != "rise" {
			for _, v := range []*float64{l.FixedLow, l.FixedHigh} {
				if v != nil {
					low, high = min(low, *v), max(high, *v)
				}
			}
		}
		risen.reach(l.Rise, l.RiseLow, l.RiseHigh, riseLimit(&l))
	}
	nameWidth := widest(250, names...)
	left := nameWidth + 14
	half := float64((pictureWidth - 80 - left) / 2)
	errors := scale{low, float64(1.04 * high), left, left + half - 16}
	rises := scale{float64(104 * risen.low), float64(104 * risen.high), left + half + 16,
		left + float64(2*half)}
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
		d.mark(k[0], key+6, 12, "")
		d.text(key+16, 16, "", k[1])
		key += textWidth(k[1]) + 36
	}
	d.line(key+4, 5, key+4, 19, "limit")
	d.text(key+12, 16, "", "limit")
	for i, l := range rows {
		y := top + float64(row*(float64(i)+0.5))
		d.name(nameWidth, y+4, "end", l.WhereInWords(), nameWidth)
		d.line(errors.from, y, errors.to, y, "grid")
		d.line(rises.from, y, rises.to, y, "grid")
		if l.ToleranceOn == "fixed" {
			d.spread(errors, l.FixedLow, l.FixedHigh, y+apart)
		}
		d.mark("ring", errors.at(l.Float), y-apart, "")
		d.mark("diamond", errors.at(l.Cut), y, "")
		d.mark("square", errors.at(l.Fixed), y+apart, "")
		if limit := errorLimit(&l); limit != nil {
			d.line(errors.at(*limit), y-12, errors.at(*limit), y+12, "limit")
		}
		if l.Rise != nil {
			d.spread(rises, hundred(l.RiseLow), hundred(l.RiseHigh), y)
			d.mark("square", rises.at(100**l.Rise), y, "")
			if limit := riseLimit(&l); limit != nil {
				d.line(rises.at(100**limit), y-12, rises.at(100**limit), y+12, "limit")
			}
		}
		d.text(rises.to+10, y+4, "", report.ShortVerdict(l.Verdict))
	}
	return d.markup()
}

// interval grows over values; it holds 0.
type interval struct{ low, high float64 }

func (i *interval) reach(values ...*float64) {
	for _, v := range values {
		if v != nil {
			i.low, i.high = min(i.low, *v), max(i.high, *v)
		}
	}
}

func hundred(v *float64) *float64 {
	if v == nil {
		return nil
	}
	percent := 100 * *v
	return &percent
}

// spread draws a 95 % interval.
func (d *drawing) spread(s scale, low, high *float64, y float64) {
	if low == nil || high == nil {
		return
	}
	a, b := place(s.at(*low)), place(s.at(*high))
	d.path("interval", fmt.Sprintf("M%s %sH%sM%s %sv8M%s %sv8", a, place(y), b, a, place(y-4), b,
		place(y-4)))
}

// errorLimit is a tolerance on the error itself, or nil.
func errorLimit(l *report.LossRow) *float64 {
	if l.ToleranceOn == "fixed" {
		return l.Tolerance
	}
	return nil
}

// riseLimit is a tolerance on the rise, or nil.
func riseLimit(l *report.LossRow) *float64 {
	if l.ToleranceOn == "rise" {
		return l.Tolerance
	}
	return nil
}

func metricTitle(l *report.LossRow) string {
	title := report.Spaced(l.Metric) + " of " + l.Output
	if l.Unit != "" {
		title += ", " + l.Unit
	}
	return title
}

// measured says in a word what a row holds.
func measured(l *report.LossRow) string {
	if falls(l) {
		return "Accuracy"
	}
	return "Error"
}

// falls tells whether less is worse.
func falls(l *report.LossRow) bool {
	switch dataset.Metric(l.Metric) {
	case dataset.Accuracy, dataset.BalancedAccuracy, dataset.Agreement:
		return true
	}
	return false
}

// riseUnit says what the right half shows: an error rises, an accuracy falls.
func riseUnit(l *report.LossRow) string {
	if falls(l) {
		return "percentage points lost"
	}
	return "rise in %"
}
