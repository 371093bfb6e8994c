package report

import (
	"fmt"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

// tightestRows is how many rows a summary shows. Our choice: as many as a reviewer reads before the
// whole report.
const tightestRows = 5

// MergeSummary returns a short report in Markdown, fit for a merge request: verdict, tightest rows,
// cost per target, and where c is not nil the changes since another handoff, which is named since.
func (s *Signoff) MergeSummary(c *Comparison, since string) []byte {
	var b strings.Builder
	verdict := s.verdictText()
	if c != nil {
		verdict += "; " + c.against(since)
	}
	fmt.Fprintf(&b, "### %s: %s\n\n", markdownText(s.Name), markdownText(verdict))
	if explained := s.ExplainedLine(); explained != "" {
		fmt.Fprintf(&b, "%s\n\n", markdownText(explained))
	}
	if checked := s.checkedLine(); checked != "" {
		fmt.Fprintf(&b, "%s\n\n", markdownText(checked))
	}
	n := s.Network
	fmt.Fprintf(&b, "%d of %d features and %d of %d units stay; %s. Made by kerf %s.\n\n",
		n.Features, n.TrainedFeatures, n.Units, n.TrainedUnits, markdownText(n.Formats),
		markdownText(s.Kerf))
	tables := []Table{s.tightestTable(), s.targetTable()}
	if c != nil {
		tables = append(tables, c.changeTable())
	}
	for _, t := range tables {
		if len(t.Rows) == 0 {
			continue
		}
		t.markdownRows(&b)
		b.WriteByte('\n')
	}
	if c != nil {
		fmt.Fprintf(&b, "%s\n", markdownText(c.Line()))
		for _, w := range c.Warnings {
			fmt.Fprintf(&b, "%s.\n", markdownText(w))
		}
		b.WriteByte('\n')
	}
	if len(s.Warnings) > 0 {
		fmt.Fprintf(&b, "%s in signoff.md.\n\n", Plural(len(s.Warnings), "note"))
	}
	fmt.Fprintf(&b, "> %s\n", markdownText(s.Caution))
	return []byte(b.String())
}

// tightestTable has the judged rows that use most of their limits, those that did not pass first.
func (s *Signoff) tightestTable() Table {
	t := Table{Title: "Tightest rows", Head: []string{"tightest rows", "up to", "limit", "used",
		"verdict"}, Numbers: 1, Words: 1}
	rows := s.JudgedRows()
	for _, r := range rows[:min(tightestRows, len(rows))] {
		t.Rows = append(t.Rows, []string{r.Row, r.UpTo, r.Limit, UsedPercent(r.Used),
			ShortVerdict(r.Verdict)})
	}
	return t
}

// targetTable has a row per target with its totals, and the compiler that they hold for.
func (s *Signoff) targetTable() Table {
	t := Table{Title: "Cost", Head: []string{"target"}, Numbers: 1, Words: 1}
	var resources []budget.Resource
	for _, c := range s.Cost {
		if c.Part == budget.Total && !slices.Contains(resources, c.Resource) {
			resources = append(resources, c.Resource)
		}
	}
	for _, r := range resources {
		t.Head = append(t.Head, Spaced(r))
	}
	t.Head = append(t.Head, "limits")
	if len(s.Build) > 0 {
		t.Head, t.Words = append(t.Head, CompilerHead), t.Words+1
	}
	for _, target := range s.TargetNames() {
		row := []string{target}
		var broken, unjudged []string
		limits := ""
		for _, resource := range resources {
			c := s.Total(target, resource)
			if c == nil {
				row = append(row, "")
				continue
			}
			row = append(row, c.ShownValue())
			switch c.Verdict {
			case "":
				continue
			case budget.Fail:
				broken = append(broken, Spaced(resource))
			case budget.NoEstimate:
				unjudged = append(unjudged, Spaced(resource))
			}
			limits = "met"
		}
		switch {
		case len(broken) > 0:
			limits = "broken: " + strings.Join(broken, ", ")
		case len(unjudged) > 0:
			limits = string(budget.NoEstimate) + ": " + strings.Join(unjudged, ", ")
		}
		row = append(row, limits)
		if len(s.Build) > 0 {
			row = append(row, s.BuildText(target))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// changeTable has the rows that got better or worse, and the items that came or went.
func (c *Comparison) changeTable() Table {
	t := Table{Title: "Changes", Numbers: 1, Words: 1,
		Head: []string{"changes", "old", "new", "new against old", "outcome"}}
	add := func(cells ...string) { t.Rows = append(t.Rows, cells) }
	for _, f := range c.Inputs {
		add(string(f.Role)+" file "+f.File, ShortHash(f.Old), ShortHash(f.New), "", "")
	}
	for _, g := range c.itemGroups() {
		add(g.what()+" "+g.change+": "+dataset.ListNames(g.names), "", "", "", "")
	}
	for _, f := range c.Formats {
		add(f.Layer+" "+f.Tensor, wordName(f.Old), wordName(f.New), "", "")
	}
	for _, l := range c.Loss {
		if l.Outcome != Same {
			show := l.showWithUnit()
			add(l.Text(), Optional(l.Old, show), Optional(l.New, show), l.shownChange(),
				string(l.Outcome))
		}
	}
	for _, r := range c.Cost {
		if r.Outcome != Same {
			add(budget.CostText(r.Target, r.Resource), Optional(r.Old, r.show),
				Optional(r.New, r.show),
				r.shownChange(), string(r.Outcome))
		}
	}
	return t
}
