package exporter

import (
	"fmt"
	"strings"

	"kerf/dataset"
)

// Line is the verdict of a comparison in one line.
func (c *Comparison) Line() string {
	better, worse, rows := 0, 0, 0
	count := func(outcome string) {
		rows++
		switch outcome {
		case Better:
			better++
		case Worse:
			worse++
		}
	}
	for _, l := range c.Loss {
		count(l.Outcome)
	}
	for _, r := range c.Cost {
		count(r.Outcome)
	}
	text := c.Verdict
	if text == Same {
		text = "same within what was measured"
	}
	return fmt.Sprintf("Comparison: %s (of %d rows %d better, %d worse; %s before, %s now).", text, rows, better, worse, c.Old.Verdict, c.New.Verdict)
}

// Tables are what changed, without the rows that did not.
func (c *Comparison) Tables() []Table {
	sides := Table{Title: "What is compared", Head: []string{"", "old", "new"}, Numbers: 3, Rows: [][]string{
		{"handoff", c.Old.Name, c.New.Name}, {"kerf", c.Old.Kerf, c.New.Kerf}, {"verdict", c.Old.Verdict, c.New.Verdict},
		{"network", c.Old.Network, c.New.Network}, {"formats", c.Old.Formats, c.New.Formats},
	}}
	tables := []Table{sides}
	add := func(t Table) {
		if len(t.Rows) > 0 {
			tables = append(tables, t)
		}
	}
	inputs := Table{Title: "Input files that differ", Head: []string{"use", "file", "old SHA-256", "new SHA-256"}, Numbers: 4}
	for _, f := range c.Inputs {
		inputs.Rows = append(inputs.Rows, []string{f.Role, f.File, ShortHash(f.Old), ShortHash(f.New)})
	}
	add(inputs)
	items := Table{Title: "In and out", Head: []string{"change", "what", "names"}, Numbers: 3}
	for _, g := range c.itemGroups() {
		items.Rows = append(items.Rows, []string{g.change, g.what(), dataset.ListNames(g.names)})
	}
	add(items)
	formats := Table{Title: "Words", Head: []string{"layer", "tensor", "old", "new"}, Numbers: 4}
	for _, f := range c.Formats {
		formats.Rows = append(formats.Rows, []string{f.Layer, f.Tensor, word(f.Old), word(f.New)})
	}
	add(formats)
	add(c.lossTable())
	add(c.costTable())
	return tables
}

// itemGroup are items of one sort that came or went.
type itemGroup struct {
	change, item string
	names        []string
}

// what names the sort in words.
func (g itemGroup) what() string { return strings.ReplaceAll(g.item, "_", " ") + "s" }

// itemGroups are what came and went, without empty ones.
func (c *Comparison) itemGroups() []itemGroup {
	var groups []itemGroup
	for _, change := range []string{"out", "in"} {
		for _, item := range []string{"feature", "unit", "front_end"} {
			g := itemGroup{change: change, item: item}
			for _, i := range c.Items {
				if i.Change == change && i.Item == item {
					g.names = append(g.names, i.Name)
				}
			}
			if len(g.names) > 0 {
				groups = append(groups, g)
			}
		}
	}
	return groups
}

// ShortHash is what identifies a file in practice; the files of a handoff have hashes whole.
func ShortHash(hash string) string {
	if len(hash) > 16 {
		return hash[:16] + "..."
	}
	return hash
}

func word(bits int) string {
	if bits == 0 {
		return ""
	}
	return fmt.Sprintf("int%d", bits)
}

func (c *Comparison) lossTable() Table {
	t := Table{Title: "Accuracy, with 95 % intervals", Head: []string{"row", "of", "old", "new", "verdict", "outcome"}, Numbers: 2, Words: 2}
	for _, l := range c.Loss {
		t.Rows = append(t.Rows, []string{l.row(), l.of(), l.shown(l.Old, l.OldLow, l.OldHigh),
			l.shown(l.New, l.NewLow, l.NewHigh), fromTo(l.OldVerdict, l.NewVerdict), l.Outcome})
	}
	return t
}

// row names the output and the place.
func (l *LossChange) row() string {
	if l.Region != "" {
		return l.Output + ", region " + l.Region
	}
	return l.Output + ", " + l.Scenario
}

// of says what is compared.
func (l *LossChange) of() string {
	metric := strings.ReplaceAll(l.Metric, "_", " ")
	if l.On == "rise" {
		return metric + " rise"
	}
	return metric
}

// shown prints a value with its interval.
func (l *LossChange) shown(v, low, high *float64) string {
	show := Significant
	if l.On == "rise" || IsShare(l.Metric) {
		show = Percent
	}
	if v == nil {
		return ""
	}
	if low == nil || high == nil {
		return show(*v)
	}
	return fmt.Sprintf("%s [%s, %s]", show(*v), strings.TrimSuffix(show(*low), " %"), strings.TrimSuffix(show(*high), " %"))
}

func fromTo(old, fresh string) string {
	old, fresh = ShortVerdict(old), ShortVerdict(fresh)
	if old == fresh {
		return fresh
	}
	return strings.TrimSpace(old + " → " + fresh)
}

func (c *Comparison) costTable() Table {
	t := Table{Title: "Cost", Head: []string{"target", "resource", "old", "new", "change", "may be off", "verdict", "outcome"}, Numbers: 2, Words: 2}
	for _, r := range c.Cost {
		change, off := "", ""
		if r.Change != nil {
			change, off = signed(*r.Change, r.show), r.show(r.Unknown)
			if r.Unknown == 0 {
				off = ""
			}
		}
		t.Rows = append(t.Rows, []string{r.Target, r.of(), optional(r.Old, r.show),
			optional(r.New, r.show), change, off, fromTo(r.OldVerdict, r.NewVerdict), r.Outcome})
	}
	return t
}

func (r *CostChange) of() string { return strings.ReplaceAll(r.Resource, "_", " ") }

func (r *CostChange) show(v float64) string { return Quantity(v, r.Unit) }

func signed(v float64, show func(float64) string) string {
	switch {
	case v > 0:
		return "+" + show(v)
	case v < 0:
		return "-" + show(-v)
	}
	return "0"
}

// IsWorse tells that something got worse, whatever else got better.
func (c *Comparison) IsWorse() bool { return c.Verdict == Worse || c.Verdict == Mixed }

// ComparisonLegend explains the columns.
const ComparisonLegend = "better, worse: the verdict of a row changed, or its figures differ by more than is known of them. Of losses that is when their 95 % intervals do not overlap; " +
	"of costs when the change exceeds what its estimated parts may be off (the largest deviation in docs/cost.md; a part that is the same in both adds nothing). rise: against the float network, on the same steps."

// IsShare tells whether a metric is a fraction of steps, of which more is better.
func IsShare(metric string) bool {
	return dataset.Metric(metric).IsShare()
}
