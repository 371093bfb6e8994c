package page

import (
	"fmt"
	"html/template"

	"kerf/exporter/report"
)

// usedBar draws the share of a limit that is used as a bar, whose class is that of the verdict: the
// upright line is the limit. A bar that ends in a point goes on beyond the picture.
func usedBar(used *float64, class string) template.HTML {
	const width, height, limit = 96.0, 12.0, 64.0
	if used == nil {
		return ""
	}
	d := newDrawing(width, height, report.UsedPercent(used)+" used")
	d.small = true
	d.rect(0, 1, limit, height-2, "room", "")
	length := float64(limit * *used)
	if length <= width {
		d.rect(0, 2.5, length, height-5, "usedbar "+class, "")
	} else {
		d.path("usedbar "+class, fmt.Sprintf("M0 2.5H%sL%s %sL%s %sH0z", pixels(width-6),
			pixels(width), pixels(height/2), pixels(width-6), pixels(height-2.5)))
	}
	d.line(limit, 0, limit, height, "limit")
	return d.markup()
}
