package page

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/exporter/report"
)

// costFigures returns what the flash, the RAM and the cycles of every target are made of, a figure
// per resource.
func costFigures(s *report.Signoff) []figure {
	var all []figure
	for _, r := range []struct {
		resource budget.Resource
		title    string
	}{
		{budget.Flash, "Where the flash goes"}, {budget.RAM, "Where the RAM goes"},
		{budget.Cycles, "Where the cycles of a step go"},
	} {
		if picture := costPicture(s, r.resource); picture != "" {
			all = append(all, figure{Title: r.title, Caption: costCaption(s, r.resource),
				Picture: picture})
		}
	}
	return all
}

// costCaption says what the bars are, and for which compilers where these change them.
func costCaption(s *report.Signoff, resource budget.Resource) string {
	text := "Upper bar of a target: what is handed off; lower bar: uncut."
	if resource == budget.RAM {
		return text
	}
	if compilers := s.CompilerLine(); compilers != "" {
		text += " " + compilers
	}
	if slices.ContainsFunc(s.Cost, func(c report.CostRow) bool {
		return c.Kind == budget.NotEstimated
	}) {
		text += " Where there is no estimate for that, bars are those of the compiler that the " +
			"estimates hold for."
	}
	return text
}

// costParts lists what a total is made of.
func costParts(s *report.Signoff, resource budget.Resource) []string {
	var parts []string
	for _, c := range s.Cost {
		if c.Resource == resource && c.Part != budget.Total && !slices.Contains(parts, c.Part) {
			parts = append(parts, c.Part)
		}
	}
	return parts
}

// totalLimit returns the limit on a total, nil without one. A limit on the step time limits the
// cycles as well.
func totalLimit(s *report.Signoff, target string, resource budget.Resource) *float64 {
	c := s.Total(target, resource)
	if c == nil {
		return nil
	}
	if c.Limit == nil && resource == budget.Cycles {
		if t := s.Total(target, budget.StepTime); t != nil && t.Limit != nil && t.Value > 0 {
			v := *t.Limit * (c.Value / t.Value)
			return &v
		}
	}
	return c.Limit
}

// costPicture draws two bars per target, made of the parts of a resource: what is handed off, and
// the whole network in its widest formats. No picture is made where no target has the resource.
func costPicture(s *report.Signoff, resource budget.Resource) template.HTML {
	const bar, gap = 17.0, 22.0
	targets := slices.DeleteFunc(s.TargetNames(), func(t string) bool {
		return s.Total(t, resource) == nil
	})
	parts := costParts(s, resource)
	most := 0.0
	var said []string
	for _, t := range targets {
		c := s.Total(t, resource)
		most = max(most, c.Value, c.Before)
		said = append(said, fmt.Sprintf("%s %s, uncut %s", t, c.ShownValue(),
			report.Quantity(c.Before, c.Unit)))
	}
	if most == 0 || len(parts) == 0 {
		return ""
	}
	// A limit far to the right would press the bars together; it is written instead.
	const farLimit = 1.6
	right := most
	for _, t := range targets {
		if l := totalLimit(s, t, resource); l != nil && *l <= farLimit*most {
			right = max(right, *l)
		}
	}
	const longestName = 160 // pixels
	nameWidth := widestText(longestName, targets...)
	x := scale{0, right, nameWidth + 76, pictureWidth - 150}
	each := float64(2*bar) + gap
	unit := s.Total(targets[0], resource).Unit
	d := newDrawing(pictureWidth, 0,
		fmt.Sprintf("%s by part. %s.", report.Spaced(resource), strings.Join(said, "; ")))
	var entries []legendEntry
	for i, p := range parts {
		entries = append(entries, legendEntry{report.Spaced(p), func(d *drawing, x, y float64) {
			d.rect(x, y-6, 22, 11, "bar "+fillClass(i), "")
		}})
	}
	top := 14 + d.legend(nameWidth+8, pictureWidth, 13, entries)
	d.height = top + float64(each*float64(len(targets))) + 8
	for i, t := range targets {
		y := top + float64(each*float64(i))
		c := s.Total(t, resource)
		limit := totalLimit(s, t, resource)
		isKnown := c.Kind != budget.NotEstimated
		broken := limit != nil && c.Value > *limit && isKnown || c.Verdict == budget.Fail
		if broken {
			d.rect(0, y-7, pictureWidth, each-6, "band fail", "")
		}
		d.shortText(nameWidth, y+13, "end", t, nameWidth)
		d.text(nameWidth+8, y+13, "tick", "handed off")
		d.text(nameWidth+8, y+13+bar, "tick", "uncut")
		now, before := 0.0, 0.0
		for k, p := range parts {
			for _, row := range s.Cost {
				if row.Target != t || row.Resource != resource || row.Part != p {
					continue
				}
				name := report.Spaced(p)
				d.rect(x.at(now), y, x.at(now+row.Value)-x.at(now), bar-3, "bar "+fillClass(k),
					fmt.Sprintf("%s, %s: %s, %s", t, name, report.Quantity(row.Value, unit),
						row.Kind))
				d.rect(x.at(before), y+bar, x.at(before+row.Before)-x.at(before), bar-3,
					"bar past "+fillClass(k),
					fmt.Sprintf("%s uncut, %s: %s", t, name, report.Quantity(row.Before, unit)))
				now += row.Value
				before += row.Before
			}
		}
		d.text(x.at(now)+5, y+12, "value", c.ShownValue())
		d.text(x.at(before)+5, y+12+bar, "value", report.Quantity(c.Before, c.Unit))
		if limit == nil {
			continue
		}
		text, class := "limit "+report.Quantity(*limit, unit), "value end"
		if *limit <= right {
			d.line(x.at(*limit), y-5, x.at(*limit), y+float64(2*bar), "limit")
		} else {
			text += " →"
		}
		if broken {
			class += " outcome fail"
			d.text(pictureWidth-4, y+12+bar, class, "fail")
		}
		d.text(pictureWidth-4, y+12, class, text)
	}
	return d.markup()
}
