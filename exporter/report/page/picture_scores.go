package page

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	"kerf/exporter/report"
)

// scoreFigures returns what every feature contributes, and in which scenario: one figure, or
// several where there are many features.
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
	for _, part := range equalParts(s.Scores.Features, rowsPerPicture) {
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

// scorePicture draws a row per feature: a bar with its largest share, its channel, and a matrix of
// its shares by scenario. Shades and bars count from the largest share of all features, so that the
// pictures of a long list can be compared.
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
	const longestName, longestChannel = 220, 110 // pixels
	nameWidth := widestText(longestName, names...)
	channelWidth := widestText(longestChannel, append([]string{"channel"}, channels...)...)
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
			len(features), sharesInWords(features), kept))
	d.text(left, top-10, "title", "largest share")
	d.text(channelAt, top-10, "title", "channel")
	for i, scenario := range s.Scores.Scenarios {
		x := matrix + float64(cell*float64(i))
		d.shortText(x+3, top-10-float64(14*float64(i%2)), "title", scenario, 2*cell-6)
		if i%2 == 1 {
			d.line(x+6, top-20, x+6, top-3, "grid")
		}
	}
	for i, f := range features {
		y := top + float64(row*float64(i))
		d.shortText(nameWidth, y+13, "end", f.Feature, nameWidth)
		channel := slices.Index(channels, f.Channel)
		d.rect(left, y+3, bars.at(f.Share)-left, row-6, "bar "+fillClass(channel),
			fmt.Sprintf("%s: %s in %s, for %s", f.Feature, report.OptionalPercent(&f.Share),
				f.Scenario, f.Output))
		d.text(bars.at(f.Share)+5, y+13, "value", report.OptionalPercent(&f.Share))
		d.rect(channelAt-13, y+5, 9, 9, "bar "+fillClass(channel), "")
		d.shortText(channelAt, y+13, "", f.Channel, channelWidth)
		for k, share := range f.Shares {
			x := matrix + float64(cell*float64(k))
			d.shade(x, y+1, cell-2, row-2, cellOpacity(share, largest))
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

// sharesInWords names the first three features with their shares.
func sharesInWords(features []report.FeatureShare) string {
	var parts []string
	for _, f := range features[:min(3, len(features))] {
		parts = append(parts, fmt.Sprintf("%s %s in %s", f.Feature,
			report.OptionalPercent(&f.Share), f.Scenario))
	}
	return strings.Join(parts, ", ")
}

// deepestOpacity is the opacity of the largest share: text on it keeps its contrast (TestContrast).
const deepestOpacity = 0.4

// cellOpacity returns the opacity of a share, in proportion to the largest one.
func cellOpacity(share, largest float64) string {
	if !(largest > 0) {
		return "0"
	}
	return fmt.Sprintf("%.2f", deepestOpacity*share/largest)
}
