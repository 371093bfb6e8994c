package page

import (
	"fmt"
	"html/template"
	"slices"

	"kerf/exporter/report"
)

// unitFigures show the loss against the number of units.
func unitFigures(f *report.FrontierInfo) []figure {
	rows := slices.DeleteFunc(slices.Clone(f.ByUnits), func(u report.UnitRow) bool {
		return u.Rise == nil
	})
	if len(rows) == 0 {
		return nil
	}
	return []figure{{
		Title: "Loss against the number of units",
		Caption: "The worst rise of an error against the float network, on selection " +
			"recordings, with its 95 % interval.",
		Picture: unitsPicture(rows),
	}}
}

func unitsPicture(rows []report.UnitRow) template.HTML {
	const height, top, left = 220.0, 34.0, 56.0
	first, last := rows[0].Units, rows[0].Units
	low, high := 0.0, 0.0
	for _, r := range rows {
		first, last = min(first, r.Units), max(last, r.Units)
		for _, v := range []*float64{r.Rise, r.RiseLow, r.RiseHigh} {
			if v != nil {
				low, high = min(low, *v), max(high, *v)
			}
		}
	}
	x := scale{float64(first) - 0.5, float64(last) + 0.5, left, pictureWidth - 10}
	room := float64(0.05 * (high - low))
	y := scale{float64(100 * (low - room)), float64(100 * (high + room)), top + height, top}
	d := newDrawing(pictureWidth, top+height+40, fmt.Sprintf("From %d to %d units: rise %s with "+
		"the fewest, %s with the most.", first, last,
		report.OptionalPercent(atUnits(rows, first).Rise),
		report.OptionalPercent(atUnits(rows, last).Rise)))
	d.axisLeft(y, x.from, x.to, "rise of the error, %", 5)
	d.axisBelow(x, y.from, y.to, "hidden units", min(last-first+1, 14), nil)
	d.line(x.from, y.at(0), x.to, y.at(0), "axis")
	for _, r := range rows {
		px := x.at(float64(r.Units))
		if r.RiseLow != nil && r.RiseHigh != nil {
			d.path("interval",
				fmt.Sprintf("M%s %sV%sM%s %sh8M%s %sh8", place(px), place(y.at(100**r.RiseLow)),
					place(y.at(100**r.RiseHigh)), place(px-4), place(y.at(100**r.RiseLow)),
					place(px-4), place(y.at(100**r.RiseHigh))))
		}
		fmt.Fprintf(&d.b, `<path class="mark square" d="%s"><title>%s</title></path>`,
			markPath("square", px, y.at(100**r.Rise)),
			template.HTMLEscapeString(fmt.Sprintf("%d units: %s, %s in %s", r.Units,
				report.OptionalPercent(r.Rise), r.Output, r.WhereInWords())))
	}
	return d.markup()
}

// unitsTable says the same in figures.
func unitsTable(f *report.FrontierInfo) report.Table {
	t := report.Table{Title: "Loss by number of units",
		Head: []string{"units", "rise", "from", "up to", "output", "where"}, Numbers: 0, Words: 2}
	for _, u := range f.ByUnits {
		t.Rows = append(t.Rows, []string{fmt.Sprint(u.Units), report.OptionalPercent(u.Rise),
			report.OptionalPercent(u.RiseLow),
			report.OptionalPercent(u.RiseHigh), u.Output, u.WhereInWords()})
	}
	return t
}

func atUnits(rows []report.UnitRow, units int) report.UnitRow {
	return rows[slices.IndexFunc(rows, func(r report.UnitRow) bool { return r.Units == units })]
}
