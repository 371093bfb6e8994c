package page

import (
	"fmt"
	"html/template"
	"strconv"

	"kerf/dataset"
	"kerf/exporter/report"
)

// cutPathFigures returns every attempt of the cut, in order: one figure, or several where the path
// is long.
func cutPathFigures(s *report.Signoff) []figure {
	if len(s.Path) == 0 {
		return nil
	}
	targets := s.TargetNames()
	var all []figure
	for _, part := range equalParts(s.Path, pathRowsPerPicture) {
		all = append(all, figure{
			Title: "The path of the cut",
			Caption: "Every attempt from top to bottom, on selection recordings: what the " +
				"tightest row may reach on others, as a share of its tolerance. A filled circle " +
				"was cut, a cross stays because it would break the tolerance. Bars: flash with " +
				"what is cut so far." + s.GivenBreaks(),
			Picture: cutPathPicture(part, targets),
		})
	}
	return all
}

// pathRowsPerPicture is rowsPerPicture for rows of 16 pixels: 52 of them are as high as 44 of 19.
const pathRowsPerPicture = 52

// reached returns the share of its tolerance that the tightest row of an attempt may reach; nil
// where that has no end. What may be reached of an explained share is what is not explained.
func reached(p *report.PathRow) *float64 {
	allowed := p.Tolerance
	if p.Row != nil && p.Row.Metric == dataset.Explained {
		allowed = 1 - allowed
	}
	if p.MayReach == nil || !(allowed > 0) {
		return nil
	}
	used := *p.MayReach / allowed
	return &used
}

// pathSpan is the share of the tolerance at the right end. A larger share is written in figures.
const pathSpan = 2.0

// cutPathPicture draws a row per attempt: what stays after it, the share of the tolerance that may
// be used, and the flash of the first target.
func cutPathPicture(path []report.PathRow, targets []string) template.HTML {
	const row, top = 16.0, 40.0
	var names []string
	cut, most := 0, 0.0
	for _, p := range path {
		names = append(names, p.Title())
		if p.Taken {
			cut++
		}
		if len(p.Flash) > 0 && len(targets) > 0 {
			most = max(most, p.Flash[0])
		}
	}
	const longestName = 250 // pixels
	nameWidth := widestText(longestName, names...)
	counts := nameWidth + 16
	x := scale{0, pathSpan, counts + 66, counts + 66 + 280}
	flash := scale{0, most, x.to + 76, pictureWidth - 62}
	bottom := top + float64(row*float64(len(path)))
	d := newDrawing(pictureWidth, bottom+36, fmt.Sprintf("%d attempts, %d of them cut. The "+
		"table of the cut has every figure.", len(path), cut))
	d.axisBelow(x, bottom, top, "share of the tolerance that may be used", 4, wholePercent)
	d.text(counts, top-20, "title", "stay")
	d.text(counts, top-6, "title", "F")
	d.text(counts+28, top-6, "title", "U")
	d.text(x.at(1), top-6, "title mid", "tolerance")
	d.line(x.at(1), top-2, x.at(1), bottom, "limit")
	if most > 0 {
		d.text(flash.from, top-6, "title", "flash, "+targets[0])
	}
	for i, p := range path {
		y := top + float64(row*(float64(i)+0.5))
		d.shortText(nameWidth, y+4, "end", names[i], nameWidth)
		if p.Taken {
			d.text(counts, y+4, "value", strconv.Itoa(p.Features))
			d.text(counts+28, y+4, "value", strconv.Itoa(p.Units))
		}
		shape := "cross"
		if p.Taken {
			shape = "dot"
		}
		if share := reached(&p); share != nil {
			used := *share
			d.line(x.from, y, x.clamped(used), y, "stem")
			d.mark(shape, x.clamped(used), y)
			if used > pathSpan {
				d.text(x.to+8, y+4, "value", wholePercent(used)+" →")
			}
		} else {
			d.mark(shape, x.to, y)
		}
		if p.Taken && most > 0 && len(p.Flash) > 0 {
			d.rect(flash.from, y-5, flash.at(p.Flash[0])-flash.from, 10, "bar fill0", "")
			d.text(flash.at(p.Flash[0])+4, y+4, "value", report.Quantity(p.Flash[0], "B"))
		}
	}
	return d.markup()
}

// wholePercent prints a share in percent without decimals.
func wholePercent(share float64) string { return strconv.FormatFloat(100*share, 'f', 0, 64) + " %" }
