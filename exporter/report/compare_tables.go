package report

import (
	"fmt"
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

// Line returns the verdict of a comparison in one line.
func (c *Comparison) Line() string {
	outcomes := map[Outcome]int{}
	for _, l := range c.Loss {
		outcomes[l.Outcome]++
	}
	for _, r := range c.Cost {
		outcomes[r.Outcome]++
	}
	verdict, apart := string(c.Verdict), ""
	switch c.Verdict {
	case Same:
		verdict = "same within what was measured"
	case NotComparable:
		verdict += ": " + c.Why
	}
	if n := outcomes[NotComparable]; n > 0 {
		apart = fmt.Sprintf(", %d not comparable", n)
	}
	return fmt.Sprintf("Comparison: %s (of %d rows %d better, %d worse%s; %s before, %s now).",
		verdict, len(c.Loss)+len(c.Cost), outcomes[Better], outcomes[Worse], apart, c.Old.Verdict,
		c.New.Verdict)
}

// against says in words how the new handoff compares with the old one, which has a name.
func (c *Comparison) against(old string) string {
	switch c.Verdict {
	case Same:
		return "same as " + old + " within what was measured"
	case Mixed:
		return "in part better and in part worse than " + old
	case NotComparable:
		return "not comparable with " + old + ": " + c.Why
	}
	return string(c.Verdict) + " than " + old
}

// Tables returns a table of each kind of change, without the rows that did not change.
func (c *Comparison) Tables() []Table {
	sides := Table{Title: "What is compared", Head: []string{"", "old", "new"}, Numbers: 3,
		Rows: [][]string{
			{"handoff", c.Old.Name, c.New.Name}, {"kerf", c.Old.Kerf, c.New.Kerf},
			{"verdict", string(c.Old.Verdict), string(c.New.Verdict)},
			{"network", c.Old.Network, c.New.Network}, {"formats", c.Old.Formats, c.New.Formats},
		}}
	if c.Old.Builds != c.New.Builds {
		sides.Rows = append(sides.Rows, []string{"compiler", c.Old.Builds, c.New.Builds})
	}
	tables := []Table{sides}
	add := func(t Table) {
		if len(t.Rows) > 0 {
			tables = append(tables, t)
		}
	}
	inputs := Table{Title: "Input files that differ",
		Head: []string{"use", "file", "old SHA-256", "new SHA-256"}, Numbers: 4}
	for _, f := range c.Inputs {
		inputs.Rows = append(inputs.Rows,
			[]string{string(f.Role), f.File, ShortHash(f.Old), ShortHash(f.New)})
	}
	add(inputs)
	items := Table{Title: "In and out", Head: []string{"change", "what", "names"}, Numbers: 3}
	for _, g := range c.itemGroups() {
		items.Rows = append(items.Rows, []string{g.change, g.what(), dataset.ListNames(g.names)})
	}
	add(items)
	formats := Table{Title: "Words", Head: []string{"layer", "tensor", "old", "new"}, Numbers: 4}
	for _, f := range c.Formats {
		formats.Rows = append(formats.Rows,
			[]string{f.Layer, f.Tensor, wordName(f.Old), wordName(f.New)})
	}
	add(formats)
	tables = append(tables, c.lossTables()...)
	add(c.costTable())
	return tables
}

// itemGroup are items of one sort that came or went.
type itemGroup struct {
	change, item string
	names        []string
}

// what names the sort of the items in words.
func (g itemGroup) what() string { return Spaced(g.item) + "s" }

// itemGroups lists the items that came and went, by sort.
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

// lossTables has a table per output and metric: the figures of one table have one unit. A table of
// which no row is compared has no column for the change.
func (c *Comparison) lossTables() []Table {
	const accuracyChanges = "Accuracy of the integer networks, with the 95 % interval of the change"
	var tables []Table
	index := map[[2]string]int{}
	isCompared := map[[2]string]bool{}
	subject := func(l *LossChange) [2]string { return [2]string{l.Output, l.of()} }
	for _, l := range c.Loss {
		isCompared[subject(&l)] = isCompared[subject(&l)] || l.Change != nil
	}
	for _, l := range c.Loss {
		at, known := index[subject(&l)]
		compared := isCompared[subject(&l)]
		if !known {
			at = len(tables)
			index[subject(&l)] = at
			head := []string{l.Output + ": " + l.of(), "old", "new"}
			if compared {
				head = append(head, l.changeHead())
			}
			tables = append(tables, Table{Title: accuracyChanges,
				Head: append(head, "verdict", "outcome"), Numbers: 1, Words: 2})
		}
		cells := []string{l.WhereName(), Optional(l.Old, l.show()),
			Optional(l.New, l.show())}
		if compared {
			cells = append(cells, l.shownChange())
		}
		cells = append(cells, fromTo(l.OldVerdict, l.NewVerdict), string(l.Outcome))
		tables[at].Rows = append(tables[at].Rows, cells)
	}
	return tables
}

// of names the metric and its unit.
func (l *LossChange) of() string {
	return strings.TrimSpace(Spaced(l.Metric) + " " + l.Unit)
}

// show returns how a value of the metric is printed.
func (l *LossChange) show() func(float64) string {
	if l.isMoreBetter() {
		return Percent
	}
	return Significant
}

// showWithUnit returns how a value of the metric is printed where no head names its unit.
func (l *LossChange) showWithUnit() func(float64) string {
	return func(v float64) string {
		if l.isMoreBetter() {
			return Percent(v)
		}
		return strings.TrimSpace(Significant(v) + " " + l.Unit)
	}
}

// changeHead says what the column of changes compares.
func (l *LossChange) changeHead() string {
	switch {
	case l.isMoreBetter():
		return "share, new less old"
	case l.Metric == dataset.Bias:
		return "size, new less old"
	}
	return "error change"
}

// shownChange prints the change with its interval: that of an error in percent, of a share in
// points, of the bias in the unit of the output.
func (l *LossChange) shownChange() string {
	if l.Change == nil {
		return ""
	}
	show, unit := Percent, " %"
	switch {
	case l.isMoreBetter():
		show, unit = Points, " points"
	case l.Metric == dataset.Bias:
		show = Significant
	}
	text := signed(*l.Change, show)
	if show(*l.Change) == show(0) {
		text = show(0)
	}
	if l.ChangeLow == nil || l.ChangeHigh == nil {
		return text
	}
	end := func(v float64) string { return strings.TrimSuffix(show(v), unit) }
	return fmt.Sprintf("%s [%s, %s]", text, end(*l.ChangeLow), end(*l.ChangeHigh))
}

// fromTo prints a verdict, or where it changed both with an arrow between.
func fromTo(old, fresh budget.Verdict) string {
	if old == fresh {
		return ShortVerdict(fresh)
	}
	return strings.TrimSpace(ShortVerdict(old) + " → " + ShortVerdict(fresh))
}

// costTable has a row per total.
func (c *Comparison) costTable() Table {
	t := Table{Title: "Cost", Head: []string{"target", "resource", "old", "new", "change",
		"may be off", "verdict", "outcome"}, Numbers: 2, Words: 2}
	for _, r := range c.Cost {
		off := ""
		if r.Change != nil && r.Unknown != 0 {
			off = r.show(r.Unknown)
		}
		t.Rows = append(t.Rows, []string{r.Target, r.of(), Optional(r.Old, r.show),
			Optional(r.New, r.show), r.shownChange(), off, fromTo(r.OldVerdict, r.NewVerdict),
			string(r.Outcome)})
	}
	return t
}

func (r *CostChange) of() string { return Spaced(r.Resource) }

func (r *CostChange) shownChange() string {
	return Optional(r.Change, func(v float64) string { return signed(v, r.show) })
}

func (r *CostChange) show(v float64) string { return Quantity(v, r.Unit) }

// Passes reports whether nothing got worse, and every row that has to be compared could be.
func (c *Comparison) Passes() bool { return c.Verdict == Better || c.Verdict == Same }

// ComparisonLegend explains the columns.
const ComparisonLegend = "error change, new against old: the error of the new integer network " +
	"over that of the " +
	"old one, less 1, on the same steps, whatever each was made of; of a share of steps and " +
	"of the size of a bias the difference. A row is better or worse when the 95 % interval " +
	"excludes 0 and the change is a tenth of the tolerance or more: ten such changes use it " +
	"up, and rounding alone mostly changes less. Without a tolerance it is 0.5 % of an error, " +
	"or 0.1 points of a share. A cost is better or worse when the change exceeds what its " +
	"estimated parts may be off (the largest deviation in docs/cost.md; a part that is the " +
	"same in both adds nothing). Where figures leave it open, a verdict that changed decides, " +
	"if tolerance and network as given are the same. not comparable: other sign-off " +
	"recordings, outputs or steps, no sums over sequences, or fewer sequences than the metric " +
	"is judged on."
