package page

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	"kerf/exporter/report"
)

// figure is one picture of the page with what is said about it.
type figure struct {
	Title   string
	Caption string
	Picture template.HTML
	Class   string
}

// pictureWidth is that of all pictures in pixels; print scales it to the paper.
const pictureWidth = 860.0

// rowsPerPicture keeps a picture shorter than a page of A4 or Letter, where it is
// about 0.8 times as large as on screen: 44 rows of 19 pixels take 177 mm.
const rowsPerPicture = 44

// pages splits rows into pictures of about the same length.
func pages[T any](rows []T, most int) [][]T {
	parts := (len(rows) + most - 1) / most
	return slices.Collect(slices.Chunk(rows, max(1, (len(rows)+parts-1)/max(1, parts))))
}

// patterns is the number of fills in signoff.css and the page.
const patterns = 6

// fill is the pattern of the n-th of several kinds of bar.
func fill(n int) string { return fmt.Sprintf("fill%d", n%patterns) }

// scoreFigures show what every feature contributes, and in which scenario.
func scoreFigures(s *report.Signoff) []figure {
	if s.Scores == nil || len(s.Scores.Features) == 0 {
		return nil
	}
	var channels []string
	for _, f := range s.Scores.Features {
		if !slices.Contains(channels, f.Channel) {
			channels = append(channels, f.Channel)
		}
	}
	slices.Sort(channels)
	var all []figure
	for _, part := range pages(s.Scores.Features, rowsPerPicture) {
		all = append(all, figure{
			Title: "What every feature contributes",
			Caption: "Bars: the share of a feature in the scores of an output, in the scenario " +
				"and for the output that needs it most. Cells: the same in every scenario. Fill " +
				"and name tell the channel. A feature goes only if no scenario needs it.",
			Picture: scorePicture(s, part, channels),
		})
	}
	return all
}

func scorePicture(s *report.Signoff, features []report.FeatureShare,
	channels []string) template.HTML {
	const row, top, barWidth = 19.0, 44.0, 150.0
	var names []string
	largest := 0.0
	for _, f := range features {
		names = append(names, f.Feature)
	}
	for _, f := range s.Scores.Features {
		largest = max(largest, f.Share)
	}
	nameWidth := widest(220, names...)
	channelWidth := widest(110, append([]string{"channel"}, channels...)...)
	left := nameWidth + 10
	bars := scale{0, largest, left, left + barWidth}
	channelAt := bars.to + 70
	matrix := channelAt + channelWidth + 12
	outcomeAt := pictureWidth - 34
	cell := min(96, (outcomeAt-8-matrix)/float64(max(1, len(s.Scores.Scenarios))))
	kept := 0
	for _, f := range features {
		if f.Kept {
			kept++
		}
	}
	d := newDrawing(pictureWidth, top+float64(row*float64(len(features)))+6,
		fmt.Sprintf("Shares of %d features, the most needed first: %s. %d of them are kept.",
			len(features), nameShares(features), kept))
	d.text(left, top-10, "title", "largest share")
	d.text(channelAt, top-10, "title", "channel")
	for i, scenario := range s.Scores.Scenarios {
		x := matrix + float64(cell*float64(i))
		d.name(x+3, top-10-float64(14*float64(i%2)), "title", scenario, 2*cell-6)
		if i%2 == 1 {
			d.line(x+6, top-20, x+6, top-3, "grid")
		}
	}
	for i, f := range features {
		y := top + float64(row*float64(i))
		d.name(nameWidth, y+13, "end", f.Feature, nameWidth)
		channel := slices.Index(channels, f.Channel)
		d.bar(left, y+3, bars.at(f.Share)-left, row-6, "bar "+fill(channel),
			fmt.Sprintf("%s: %s in %s, for %s", f.Feature, report.OptionalPercent(&f.Share),
				f.Scenario, f.Output))
		d.text(bars.at(f.Share)+5, y+13, "value", report.OptionalPercent(&f.Share))
		d.bar(channelAt-13, y+5, 9, 9, "bar "+fill(channel), "")
		d.name(channelAt, y+13, "", f.Channel, channelWidth)
		for k, share := range f.Shares {
			x := matrix + float64(cell*float64(k))
			fmt.Fprintf(&d.b, `<rect x="%s" y="%s" width="%s" height="%s" class="cell" `+
				`fill-opacity="%s"/>`, place(x), place(y+1), place(cell-2), place(row-2),
				opacity(share, largest))
			d.text(x+cell-8, y+13, "value end", report.OptionalPercent(&share))
		}
		if f.Kept {
			d.text(outcomeAt, y+13, "", "kept")
		} else {
			d.text(outcomeAt, y+13, "quiet", "cut")
		}
	}
	return d.markup()
}

// nameShares says the first few rows in words.
func nameShares(features []report.FeatureShare) string {
	var parts []string
	for _, f := range features[:min(3, len(features))] {
		parts = append(parts,
			fmt.Sprintf("%s %s in %s", f.Feature, report.OptionalPercent(&f.Share), f.Scenario))
	}
	return strings.Join(parts, ", ")
}

// deepest is the opacity of the largest value: text on it keeps its contrast.
const deepest = 0.4

func opacity(v, largest float64) string {
	if !(largest > 0) {
		return "0"
	}
	return fmt.Sprintf("%.2f", deepest*v/largest)
}
