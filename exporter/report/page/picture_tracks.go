package page

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"kerf/exporter/report"
	"kerf/prune"
)

// trackFigures returns, per scenario, the sequence in which the integer network is furthest from
// the reference; that of the scenario with the tightest row comes first. A track that lacks steps
// or values is not drawn: a sign-off that is read from a file may have been changed.
func trackFigures(s *report.Signoff) []figure {
	var all []figure
	tightest, most := "", 0.0
	for i := range s.Loss {
		l := &s.Loss[i]
		if used := l.Used(); used != nil && *used > most && l.Scenario != prune.All {
			tightest, most = l.Scenario, *used
		}
	}
	tracks := slices.DeleteFunc(slices.Clone(s.Tracks), func(t report.Track) bool {
		return !isWhole(&t)
	})
	if i := slices.IndexFunc(tracks, func(t report.Track) bool {
		return t.Scenario == tightest
	}); i > 0 {
		first := tracks[i]
		tracks = slices.Insert(slices.Delete(tracks, i, i+1), 0, first)
	}
	for _, t := range tracks {
		thinned, below := "", "network minus reference"
		if len(t.Outputs[0].Classes) > 0 {
			below = "where the class is another one"
		}
		if t.Every > 1 {
			thinned = fmt.Sprintf(" Of every %d steps the one with the largest error is shown.",
				t.Every)
		}
		all = append(all, figure{
			Title: fmt.Sprintf("Worst sequence of %s: %s", t.Scenario, t.Sequence),
			Caption: "Where the RMSE of the integer network is largest, of all sign-off " +
				"sequences of this scenario." + thinned + " Below: " + below + ".",
			Picture: trackPicture(t, s.Period),
		})
	}
	return all
}

// isWhole reports whether a track has steps, outputs, and values of every output at each step.
func isWhole(t *report.Track) bool {
	steps := len(t.At)
	return steps > 0 && len(t.Outputs) > 0 &&
		!slices.ContainsFunc(t.Outputs, func(o report.TrackOutput) bool {
			return len(o.Reference) != steps || len(o.Float) != steps || len(o.Fixed) != steps
		})
}

// Sizes of the panel of one output in pixels.
const (
	trackHeight = 130.0 // of the values
	errorHeight = 56.0  // of the errors below
	trackLeft   = 52.0  // of the ticks on the left
)

// trackPicture draws a panel per output, two beside each other. period is the time between two
// steps in s, 0 where it is not known.
func trackPicture(t report.Track, period float64) template.HTML {
	const columns, gap = 2, 26.0
	width := (pictureWidth - gap) / columns
	lines := (len(t.Outputs) + columns - 1) / columns
	each := trackHeight + errorHeight + 96
	var said []string
	for _, o := range t.Outputs {
		said = append(said, trackInWords(o, t.At))
	}
	d := newDrawing(pictureWidth, 0,
		fmt.Sprintf("%s, sequence %s, %d steps. %s.", t.Scenario, t.Sequence, t.Steps,
			strings.Join(said, "; ")))
	var entries []legendEntry
	for _, k := range [][2]string{{"reference", "reference (recorded)"}, {"float", "float network"},
		{"fixed", "integer network"}} {
		entries = append(entries, legendEntry{k[1], func(d *drawing, x, y float64) {
			d.line(x, y, x+26, y, "track "+k[0])
		}})
	}
	top := 2 + d.legend(trackLeft, pictureWidth, 10, entries)
	d.height = float64(each*float64(lines)) + top
	for i, o := range t.Outputs {
		trackPanel(d, t, o, float64((width+gap)*float64(i%columns)),
			top+float64(each*float64(i/columns)), width, period)
	}
	return d.markup()
}

// trackInWords says in the text alternative what the panel of an output shows. at are the steps
// that are drawn.
func trackInWords(o report.TrackOutput, at []int) string {
	worst := 0
	for i := range o.Fixed {
		if math.Abs(o.Fixed[i]-o.Reference[i]) > math.Abs(o.Fixed[worst]-o.Reference[worst]) {
			worst = i
		}
	}
	return fmt.Sprintf("%s: reference from %s to %s %s; the largest error of the integer "+
		"network shown is %s at step %d", o.Output, report.Significant(slices.Min(o.Reference)),
		report.Significant(slices.Max(o.Reference)), o.Unit,
		report.Significant(o.Fixed[worst]-o.Reference[worst]), at[worst])
}

// trackPanel draws one output over time: the reference with the outputs of both networks, and below
// it their errors.
func trackPanel(d *drawing, t report.Track, o report.TrackOutput, left, top, width,
	period float64) {
	unit, times := "step", 1.0
	if period > 0 {
		unit, times = "time, s", period
	}
	x := scale{0, float64(times * float64(max(1, t.Steps-1))), left + trackLeft, left + width - 6}
	low := min(slices.Min(o.Reference), slices.Min(o.Float), slices.Min(o.Fixed))
	high := max(slices.Max(o.Reference), slices.Max(o.Float), slices.Max(o.Fixed))
	if high == low {
		high++
	}
	y := scale{low, high, top + 24 + trackHeight, top + 24}
	title := o.Output
	if o.Unit != "" {
		title += ", " + o.Unit
	}
	join := polyline
	if len(o.Classes) > 0 {
		join = staircase
		d.line(x.from, y.from, x.from, y.to, "axis")
		for i, c := range o.Classes {
			d.shortText(x.from-5, y.clamped(float64(i))+4, "tick end", c, trackLeft-6)
		}
		d.text(x.from-30, y.to-12, "title", title)
	} else {
		d.axisLeft(y, x.from, x.to, title, 5)
	}
	xs := make([]float64, len(t.At))
	for i, step := range t.At {
		xs[i] = x.at(float64(times * float64(step)))
	}
	float, fixed, e := trackErrors(&o)
	e.from, e.to = y.from+30+errorHeight, y.from+30
	name := strings.TrimSuffix("error, "+o.Unit, ", ")
	if len(o.Classes) > 0 {
		name = "1: another class"
	}
	d.axisLeft(e, x.from, x.to, name, 4)
	d.axisBelow(x, e.from, e.to, unit, 6, nil)
	d.line(x.from, e.at(0), x.to, e.at(0), "axis")
	places := func(s scale, values []float64) []float64 {
		ys := make([]float64, len(values))
		for i, v := range values {
			ys[i] = s.at(v)
		}
		return ys
	}
	d.path("track reference", join(xs, places(y, o.Reference)))
	d.path("track fixed", join(xs, places(y, o.Fixed)))
	d.path("track float", join(xs, places(y, o.Float)))
	d.path("track fixed", join(xs, places(e, fixed)))
	d.path("track float", join(xs, places(e, float)))
}

// trackErrors returns network minus reference of both networks, and a scale that holds the errors.
// For a classifier the error is 1 where the class is another one.
func trackErrors(o *report.TrackOutput) (float, fixed []float64, s scale) {
	of := func(values []float64) []float64 {
		all := make([]float64, len(values))
		for i, v := range values {
			e := v - o.Reference[i]
			if len(o.Classes) > 0 && e != 0 {
				e = 1
			}
			all[i] = e
			s.high = math.Max(s.high, math.Abs(e))
		}
		return all
	}
	float, fixed = of(o.Float), of(o.Fixed)
	if s.high == 0 {
		s.high = 1
	}
	if len(o.Classes) == 0 {
		s.low = -s.high
	}
	return float, fixed, s
}
