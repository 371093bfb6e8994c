package page

import (
	"fmt"
	"html/template"
	"slices"

	"kerf/exporter/report"
)

// lossByUnitsFigures returns the loss against the number of units; none where nothing was measured.
func lossByUnitsFigures(f *report.FrontierInfo) []figure {
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
		Picture: lossByUnitsPicture(rows),
	}}
}

// lossByUnitsPicture draws a mark with its interval per number of units. Every row has a rise.
func lossByUnitsPicture(rows []report.UnitRow) template.HTML {
	const height, top, left = 220.0, 34.0, 56.0
	first, last := rows[0].Units, rows[0].Units
	var rises extent
	for _, r := range rows {
		first, last = min(first, r.Units), max(last, r.Units)
		rises.include(r.Rise, r.RiseLow, r.RiseHigh)
	}
	x := scale{float64(first) - 0.5, float64(last) + 0.5, left, pictureWidth - 10}
	room := float64(0.05 * (rises.high - rises.low))
	y := scale{float64(100 * (rises.low - room)), float64(100 * (rises.high + room)), top + height,
		top} // in percent
	d := newDrawing(pictureWidth, top+height+40, fmt.Sprintf("From %d to %d units: rise %s with "+
		"the fewest, %s with the most.", first, last,
		report.OptionalPercent(rowOfUnits(rows, first).Rise),
		report.OptionalPercent(rowOfUnits(rows, last).Rise)))
	d.axisLeft(y, x.from, x.to, "rise of the error, %", 5)
	d.axisBelow(x, y.from, y.to, "hidden units", min(last-first+1, 14), nil)
	d.line(x.from, y.at(0), x.to, y.at(0), "axis")
	for _, r := range rows {
		at := x.at(float64(r.Units))
		d.intervalUp(y, inPercent(r.RiseLow), inPercent(r.RiseHigh), at)
		d.markWithTip("square", at, y.at(100**r.Rise), fmt.Sprintf("%d units: %s, %s in %s",
			r.Units, report.OptionalPercent(r.Rise), r.Output, r.WhereName()))
	}
	return d.markup()
}

// lossByUnitsTable returns the figures of the picture.
func lossByUnitsTable(f *report.FrontierInfo) report.Table {
	t := report.Table{Title: "Loss by number of units",
		Head: []string{"units", "rise", "from", "up to", "output", "where"}, Numbers: 0, Words: 2}
	for _, u := range f.ByUnits {
		t.Rows = append(t.Rows, []string{fmt.Sprint(u.Units), report.OptionalPercent(u.Rise),
			report.OptionalPercent(u.RiseLow), report.OptionalPercent(u.RiseHigh), u.Output,
			u.WhereName()})
	}
	return t
}

// rowOfUnits returns the row with a number of units, which is one of the rows.
func rowOfUnits(rows []report.UnitRow, units int) report.UnitRow {
	return rows[slices.IndexFunc(rows, func(r report.UnitRow) bool { return r.Units == units })]
}
