package report

import (
	"fmt"
	"slices"
	"strings"

	"kerf/budget"
)

// Markdown returns signoff.md: every table of the report.
func (s *Signoff) Markdown() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "# Sign-off: %s\n\n**%s**\n\nMade by kerf %s.\n\n", s.Name,
		markdownText(s.VerdictLine()), markdownText(s.Kerf))
	for _, line := range s.Summary() {
		fmt.Fprintf(&b, "- %s\n", markdownText(line))
	}
	if s.Checked == "" {
		for _, finding := range s.Findings() {
			fmt.Fprintf(&b, "- **Against the network as given**: %s.\n", markdownText(finding))
		}
	}
	b.WriteString("\n" + MarkdownTables(s.allTables()) + "\n" + s.Legend() + "\n")
	if note := s.FaultsNote(); note != "" {
		b.WriteString("\n" + markdownText(note) + "\n")
	}
	if legend := s.FrontierLegend(); legend != "" {
		b.WriteString("\n" + markdownText(legend) + "\n")
	}
	if len(s.Warnings) > 0 {
		b.WriteString("\n## Notes\n\n")
		for i, w := range s.Warnings {
			fmt.Fprintf(&b, "%d. %s\n", i+1, markdownText(w))
		}
	}
	fmt.Fprintf(&b, "\n> %s\n\n## Signatures\n\n| | name | date | signature |\n|---|---|---|---|\n",
		markdownText(s.Caution))
	for _, role := range Signatures {
		fmt.Fprintf(&b, "| %s | | | |\n", role)
	}
	return []byte(b.String())
}

// Legend explains the columns of the tables.
func (s *Signoff) Legend() string {
	legend := "float: the network as given; cut: after features and units were taken out; " +
		s.recoveryLegend() + legendRest
	if len(s.Measured) > 0 {
		legend += " estimate: what stood in place of a measured value, or of a sum that has one."
	}
	if slices.ContainsFunc(s.Cost, func(c CostRow) bool { return c.Kind == budget.NotEstimated }) {
		legend += " no estimate: there is none for the compiler and flags that the job names; at " +
			"least: what no compiler changes."
	}
	return legend + s.compensationLegend() + s.chainLegend() + s.extremeLegend() +
		s.explainedLegend()
}

// compensationLegend says why the network after the cut can be better than the one given; empty
// where nothing was cut or no judged row is.
func (s *Signoff) compensationLegend() string {
	better := slices.ContainsFunc(s.Loss, func(l LossRow) bool {
		return l.Verdict != "" && !l.Metric.IsShare() && l.Cut < l.Float
	})
	if s.isUncut() || !better {
		return ""
	}
	return " Where cut is below float, compensation is the reason: what stays was fitted to the" +
		" selection recordings."
}

// explainedLegend says of what an explained share is a share.
func (s *Signoff) explainedLegend() string {
	switch {
	case len(s.Explained) == 0:
		return ""
	case s.isClassifier():
		return " explains: 1 less the wrong steps over those of the most frequent class of the " +
			"selection recordings."
	}
	return " explains: 1 less the squared error over that of a constant, the mean of all " +
		"selection recordings, " +
		"in a scenario or region as well."
}

// legendRest is the part of the legend that every report has.
const legendRest = "fixed: the integer network of the C. " +
	"rise: fixed against float, on the same steps; up to: the upper end of its 95 % interval, " +
	"from resampling whole sequences. A tolerance is met when that end meets it; a maximum is " +
	"judged as it is. used: the share of the limit or tolerance that is taken; above 100 % it is " +
	"not met. " +
	"Kinds: exact (follows from the emitted data), bounded (cannot be exceeded), estimated " +
	"(from counts and published timings, or declared in the job), measured. " +
	"uncut: the whole network in its widest formats."

// allTables lists the tables of signoff.md in order.
func (s *Signoff) allTables() []Table {
	return slices.Concat([]Table{s.ExplainedTable(), s.AccuracyTable()}, s.AllChainTables(),
		s.faultTables(), s.AllCostTables(),
		s.FrontierTables(), []Table{s.PathTable()}, s.WordTables(),
		[]Table{s.FormatTable(), s.InputTable(true)})
}

// MarkdownTables prints tables below each other, each under its title.
func MarkdownTables(tables []Table) string {
	var b strings.Builder
	for i, t := range tables {
		if i > 0 {
			b.WriteByte('\n')
		}
		t.markdown(&b)
	}
	return b.String()
}

// markdown prints a table under its title.
func (t Table) markdown(b *strings.Builder) {
	fmt.Fprintf(b, "## %s\n\n", Visible(t.Title))
	if len(t.Rows) == 0 {
		b.WriteString("Nothing to show.\n")
		return
	}
	t.markdownRows(b)
}

// markdownRows prints a table without its title.
func (t Table) markdownRows(b *strings.Builder) {
	line := func(cells []string) {
		b.WriteString("|")
		for _, c := range cells {
			b.WriteString(" " + markdownText(c) + " |")
		}
		b.WriteByte('\n')
	}
	line(t.Head)
	b.WriteString("|")
	for i := range t.Head {
		if t.RightAligned(i) {
			b.WriteString("---:|")
		} else {
			b.WriteString("---|")
		}
	}
	b.WriteByte('\n')
	for _, row := range t.Rows {
		line(row)
	}
}

// markdownEscapes takes their meaning from the characters that mark up text, and from those with
// which GitHub's and GitLab's Markdown begin mathematics, mentions, addresses, emoji and struck-out
// text.
var markdownEscapes = strings.NewReplacer("\\", "\\\\", "|", "\\|", "<", "&lt;", ">", "&gt;", "&",
	"&amp;", "*", "\\*", "_", "\\_", "`", "\\`", "[", "\\[", "]", "\\]",
	"~", "\\~", "$", "\\$", "@", "&#64;", "://", "&#58;//", "www.", "www&#46;", "#", "\\#")

// markdownText keeps a text from files from becoming markup or leaving its cell.
func markdownText(text string) string { return markdownEscapes.Replace(Visible(text)) }
