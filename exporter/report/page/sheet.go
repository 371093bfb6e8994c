package page

import (
	"fmt"
	"html/template"
	"slices"
	"strings"
	"unicode/utf8"

	"kerf/budget"
	"kerf/dataset"
	"kerf/exporter/report"
)

// sheet is the first page: what somebody reads who signs. It is printed on one page of A4 or
// Letter, so every text on it has a number of lines at most.
type sheet struct {
	Name                      string
	Verdict                   clause
	Class                     string // of the verdict
	About, Cut, Made, Caution []clause
	Rows                      []tightRow
	Others                    string // what the other judged rows say
	Shortened                 bool   // a name among Rows is
}

// clause is a text of the sheet, and where the rest of one that was shortened stands.
type clause struct {
	Label     string
	Text      string
	Against   bool   // it speaks against a signature
	Part      string // of the page: key of partTitles
	Rest      bool   // the text was shortened
	Options   bool   // it holds options of a compiler, which are not parted at their hyphens
	isVerdict bool   // it stands in the box
	least     int    // lines that it keeps whatever else there is
	lines     int
}

// Words returns the words of the text.
func (c clause) Words() []string { return strings.Fields(c.Text) }

// lineLength returns how many characters a line of the text holds in print.
func (c clause) lineLength() int {
	switch {
	case c.isVerdict:
		return verdictChars
	case c.Against:
		return boldChars
	}
	return lineChars
}

// PartTitle returns the title of the part that has the whole text.
func (c clause) PartTitle() string { return partTitles[c.Part] }

// partTitles are the headings of the parts behind the sheet.
var partTitles = map[string]string{
	"network": "What does the network explain?", "units": "How many units?",
	"accuracy": "Does it still work?", "cost": "Does it fit?",
	"choice": "What else was possible?", "cut": "What went, and why?",
	"formats": "Number formats", "origin": "How to read this",
}

// tightRow is one of the rows that use most of their limits.
type tightRow struct {
	Name, Whole string // shortened if need be, and as it is
	Metric      string
	UpTo, Limit string
	Used        string
	Verdict     string
	Class       string
	Bar         template.HTML
}

// Sizes of the sheet. Letter leaves 256 mm between the margins of signoff.css, 969 pixels. What is
// always there takes 460 of them with all rows of the table, so 14.2 pixels a line leave 35, of
// which three are for fonts that differ and the larger lines of the verdict. A line beside its
// label has 590 pixels or 91 characters of 0.57 times 11.3 pixels (usualChar); words that do not
// fit a line take the rest. Bold letters are a seventh wider, those of the verdict a quarter larger
// too.
const (
	tightRows    = 8
	sheetLines   = 32
	lineChars    = 82
	boldChars    = 72
	verdictChars = 64
	longestName  = 26 // characters of each part of a row's name
	mostTargets  = 5
	mostNotes    = 3
)

// newSheet fills the first page.
func newSheet(s *report.Signoff) *sheet {
	p := &sheet{
		Name:    s.Name,
		Class:   verdictClass(s.Verdict),
		Verdict: clause{Text: s.VerdictLine(), Part: "network", isVerdict: true, least: 2},
		About:   aboutNetwork(s), Cut: whatWasCut(s), Made: conditions(s), Caution: notes(s),
	}
	rows := s.JudgedRows()
	shown := rows[:min(tightRows, len(rows))]
	for _, r := range shown {
		row := tightRow{Name: shortRowName(r.Name), Whole: r.Name, Metric: comparedFigure(r),
			UpTo: noBreak(r.UpTo), Limit: noBreak(r.Limit), Used: report.UsedPercent(r.Used),
			Verdict: report.ShortVerdict(r.Verdict), Class: rowClass(r.Verdict),
			Bar: usedBar(r.Used, rowClass(r.Verdict))}
		p.Shortened = p.Shortened || row.Name != row.Whole
		p.Rows = append(p.Rows, row)
	}
	p.Others = otherRows(rows[len(shown):])
	fitLines(p.clauses(), sheetLines+tightRows-len(shown))
	return p
}

// clauses returns all texts of the sheet, the ones that are shortened first in front.
func (p *sheet) clauses() []*clause {
	var all []*clause
	for _, list := range [][]clause{p.Caution, p.Made, p.Cut, p.About} {
		for i := range list {
			all = append(all, &list[i])
		}
	}
	return append(all, &p.Verdict)
}

// IsShortened reports whether a text of the sheet is shortened, so that the rest has to be printed.
func (p *sheet) IsShortened() bool {
	return slices.ContainsFunc(p.clauses(), func(c *clause) bool { return c.Rest })
}

// fitLines shortens texts until all of them together have so many lines at most: the longest one
// loses a line, and of equals the first.
func fitLines(all []*clause, most int) {
	sum := 0
	for _, c := range all {
		c.lines = max(1, (utf8.RuneCountInString(c.Text)+c.lineLength()-1)/c.lineLength())
		sum += c.lines
	}
	for sum > most {
		longest := all[0]
		for _, c := range all {
			if c.lines-c.least > longest.lines-longest.least {
				longest = c
			}
		}
		if longest.lines <= max(1, longest.least) {
			break
		}
		longest.lines--
		longest.Rest = true
		sum--
	}
	for _, c := range all {
		if c.Rest {
			c.Text = beginning(c.Text, c.lines*c.lineLength()-len(c.PartTitle())-8)
		}
	}
}

// beginning returns the first words of a text, in at most so many characters with an ellipsis.
func beginning(text string, most int) string {
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	short := string(runes[:max(1, most-2)])
	if at := strings.LastIndex(short, " "); at > len(short)/2 {
		short = short[:at]
	}
	return strings.TrimRight(short, " ,;:") + " …"
}

// shortRowName shortens both parts of the name of a row.
func shortRowName(name string) string {
	i := strings.LastIndex(name, "/")
	if i < 0 {
		return middleOut(name, longestName)
	}
	return middleOut(name[:i], longestName) + "/" + middleOut(name[i+1:], longestName)
}

// middleOut shortens a name to so many characters: both ends tell it from others.
func middleOut(name string, most int) string {
	runes := []rune(name)
	if len(runes) <= most {
		return name
	}
	end := (most - 1) / 2
	return string(runes[:most-1-end]) + "…" + string(runes[len(runes)-end:])
}

// verdictClass returns the class of the verdict on the whole.
func verdictClass(v budget.Verdict) string {
	switch v {
	case budget.Fits:
		return "fits"
	case budget.NotEnough, budget.NoEstimate:
		return "unsure"
	}
	return "fail"
}

// rowClass returns the class of a row with a verdict; empty for one that passes.
func rowClass(v budget.Verdict) string {
	switch v {
	case budget.Fail:
		return "fail"
	case budget.NotEnough, budget.NoEstimate:
		return "unsure"
	}
	return ""
}

// comparedFigure names what the limit of a row is compared with.
func comparedFigure(r report.JudgedRow) string {
	name, _, _ := strings.Cut(r.Metric, " ") // without the unit, which a change does not have
	switch {
	case r.IsRise:
		return "rise of " + name
	case strings.HasSuffix(r.Limit, " points"):
		return "drop of " + r.Metric
	}
	return r.Metric
}

// otherRows says what the rows say that are not shown.
func otherRows(rows []report.JudgedRow) string {
	if len(rows) == 0 {
		return ""
	}
	counts := map[budget.Verdict]int{}
	for _, r := range rows {
		counts[r.Verdict]++
	}
	var said []string
	for _, v := range []struct {
		verdict budget.Verdict
		one     string
		more    string
	}{{budget.Fail, "fails", "fail"}, {budget.NotEnough, "has not enough recordings",
		"have not enough recordings"}, {budget.NoEstimate, "has no estimate",
		"have no estimate"}, {budget.Pass, "passes", "pass"}} {
		switch n := counts[v.verdict]; n {
		case 0:
		case 1:
			said = append(said, "1 "+v.one)
		default:
			said = append(said, fmt.Sprintf("%d %s", n, v.more))
		}
	}
	if len(said) == 1 {
		count, says, _ := strings.Cut(said[0], " ")
		return fmt.Sprintf("%s other %s %s.", count, map[bool]string{true: "row",
			false: "rows"}[count == "1"], says)
	}
	return fmt.Sprintf("Of %s: %s.", report.Plural(len(rows), "other row"),
		strings.Join(said, ", "))
}

// aboutNetwork says what the network is and what it explains, and what speaks against it.
func aboutNetwork(s *report.Signoff) []clause {
	all := []clause{{Label: "Kept", Part: "network",
		Text: fmt.Sprintf("%s; given were %s.", s.KeptText(), s.Network.Trained)}}
	if text := strings.TrimLeft(strings.TrimPrefix(s.ShortExplained(), "Explains"),
		":, "); text != "" {
		all = append(all, clause{Label: "Explains", Part: "network", Text: text})
	}
	if findings := s.Findings(); len(findings) > 0 {
		text := findings[0] + "."
		if more := len(findings) - 1; more > 0 {
			text += fmt.Sprintf(" %s in the next part.", report.Plural(more, "more finding"))
		}
		all = append(all, clause{Label: "Against it", Part: "network", Against: true, Text: text,
			least: 1})
	}
	if s.Checked != "" && len(s.Causes) > 0 {
		all = append(all, clause{Label: "Checked", Part: "network",
			Text: "the job lets the verdict stand; its reason: " + s.Checked + "."})
	}
	return all
}

// whatWasCut says in a sentence each what went, and why it could go or had to stay.
func whatWasCut(s *report.Signoff) []clause {
	n := s.Network
	features := clause{Label: "Features", Part: "cut", Text: "all stay."}
	if gone := s.Dropped.Features; len(gone) > 0 {
		features.Text = fmt.Sprintf("%d of %d went: what stays replaces them",
			len(gone), n.TrainedFeatures)
		if share, known := largestScore(s, gone); known {
			features.Text = fmt.Sprintf("%d of %d went, as they cost most for what they "+
				"tell; none carries more than %s of the score of an output in a scenario",
				len(gone), n.TrainedFeatures,
				report.Percent(share))
		}
		if freed := s.Dropped.FrontEnds; len(freed) > 0 {
			features.Text += ", and with them the front end " + dataset.ListNames(freed)
		}
		features.Text += ". They are " + dataset.ListNames(gone) + "."
	}
	units := clause{Label: "Units", Part: "cut", Text: "all stay."}
	if gone := n.TrainedUnits - n.Units; gone > 0 {
		units.Text = fmt.Sprintf("%d of %d went: the others take over their mean effect.",
			gone, n.TrainedUnits)
	}
	all := []clause{features, units}
	if text := whereItEnds(s); text != "" {
		all = append(all, clause{Label: "Why no more", Part: "cut", Text: text})
	}
	words := clause{Label: "Words", Part: "formats",
		Text: fmt.Sprintf("%s, features int16 with %d fraction bits", n.Formats, n.InputFraction)}
	if len(s.Forced) > 0 {
		f := s.Forced[0]
		words.Text += fmt.Sprintf("; int%d stays for %s, since int%d breaks %s", f.Bits, f.What,
			f.Refused, f.TightestText())
	}
	words.Text += "."
	return append(all, words)
}

// largestScore returns the largest share that some features have in the score of an output.
func largestScore(s *report.Signoff, features []string) (share float64, known bool) {
	if s.Scores == nil {
		return 0, false
	}
	for _, f := range s.Scores.Features {
		if slices.Contains(features, f.Feature) {
			share, known = max(share, f.Share), true
		}
	}
	return share, known
}

// whereItEnds says what the cut may reach, and why the next item stays: of those that were refused,
// the one that comes nearest to its tolerance. It is empty without a search.
func whereItEnds(s *report.Signoff) string {
	var last, next *report.PathRow
	for i := range s.Path {
		p := &s.Path[i]
		switch used := reached(p); {
		case used == nil:
		case p.Taken:
			last = p
		case *used > 1 && (next == nil || *used < *reached(next)):
			next = p
		}
	}
	var said []string
	if last != nil {
		text := fmt.Sprintf("after the last cut %s may reach %s of its tolerance",
			last.TightestText(), wholePercent(*reached(last)))
		if *reached(last) > 1 && givenBreaks(s, last) {
			text += ", which the network as given breaks too"
		}
		said = append(said, text)
	}
	if next != nil {
		said = append(said, fmt.Sprintf("without %s %s may reach %s, so it stays", next.Title(),
			next.TightestText(), wholePercent(*reached(next))))
	}
	if len(said) == 0 {
		return ""
	}
	return strings.Join(said, "; ") + "."
}

// givenBreaks reports whether the network as given may break the tolerance of the row of an attempt
// as well, by what the choice says of that row.
func givenBreaks(s *report.Signoff, p *report.PathRow) bool {
	for _, c := range s.Frontier.Candidates {
		for _, l := range c.Losses {
			if c.Chosen && p.Row != nil && l.RowName == *p.Row {
				return l.GivenBreaks()
			}
		}
	}
	return false
}

// conditions says what the figures hold for: recordings, compilers and files.
func conditions(s *report.Signoff) []clause {
	var all []clause
	var recorded []string
	for _, r := range slices.Backward(s.Recorded) {
		use := "judged on sign-off recordings"
		if r.Use == budget.SelectionRole {
			use = "chosen on selection recordings"
		}
		recorded = append(recorded, fmt.Sprintf("%s: %s, %s, %s", use,
			report.Plural(r.Sequences, "sequence"),
			report.Quantity(float64(r.Steps), "steps")+" steps",
			report.Plural(r.Scenarios, "scenario")))
	}
	if s.Start != nil {
		recorded = append(recorded, fmt.Sprintf("the first %s of each sequence count in no row",
			s.Start.Settle))
	}
	if len(recorded) > 0 {
		all = append(all, clause{Label: "Recordings", Part: "network",
			Text: strings.Join(recorded, "; ") + "."})
	}
	for i, t := range s.Build {
		if i == mostTargets {
			all = append(all, clause{Part: "cost", Rest: true,
				Text: fmt.Sprintf("%s:", report.Plural(len(s.Build)-i, "more target"))})
			break
		}
		c := clause{Part: "cost", Options: true,
			Text: fmt.Sprintf("%s: %s %s", middleOut(t.Name, longestName),
				s.CompilerOf(t), strings.TrimSpace(t.Options(s.Name)+" "+t.Core))}
		if t.InRAM {
			c.Text += ", weights in RAM"
		}
		if i == 0 {
			c.Label = "Compiler"
		}
		all = append(all, c)
	}
	var files []string
	for _, f := range s.Inputs {
		const digits = 12 // of a hash: two of a job's files do not share them by chance
		files = append(files, fmt.Sprintf("%s %s", middleOut(f.File, longestName),
			f.SHA256[:min(digits, len(f.SHA256))]))
	}
	if len(files) > 0 {
		all = append(all, clause{Label: "SHA-256", Part: "origin",
			Text: strings.Join(files, ", ") + "."})
	}
	return all
}

// compilerTable has the compiler and its options for each target.
func compilerTable(s *report.Signoff) report.Table {
	t := report.Table{Title: "Compilers and options that the figures hold for",
		Head: []string{"target", "compiler", "options", "core", "weights"}, Numbers: 5}
	for _, b := range s.Build {
		weights := "in flash"
		if b.InRAM {
			weights = "in RAM"
		}
		t.Rows = append(t.Rows, []string{b.Name, s.CompilerOf(b), b.Options(s.Name), b.Core,
			weights})
	}
	return t
}

// notes are the first notes of the sign-off, each as long as there is room.
func notes(s *report.Signoff) []clause {
	var all []clause
	for i, w := range s.Warnings {
		c := clause{Part: "origin", Text: fmt.Sprintf("%d. %s.", i+1, strings.TrimSuffix(w, "."))}
		if i == 0 {
			c.Label = "Notes"
		}
		if more := len(s.Warnings) - i; i == mostNotes-1 && more > 1 {
			c.Text, c.Rest = fmt.Sprintf("%d more:", more), true
		}
		all = append(all, c)
		if i == mostNotes-1 {
			break
		}
	}
	return all
}
