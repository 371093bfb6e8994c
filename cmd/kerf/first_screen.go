package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/exporter/report"
)

// screenLines is the height of the first screen of a sign-off: that of a terminal of 24 lines
// (ECMA-48 names no size; 24 by 80 is common practice, no source).
const screenLines = 24

// Rows of the first screen and lines about compilers before they are made fewer, and lines of the
// verdict. Our choice.
const (
	screenLoss    = 4
	screenCost    = 3
	compilerLines = 3
	verdictLines  = 3
)

// firstScreen prints what a reader needs first, in as many lines as a terminal has: the verdict
// with what fails and by how much, what stays, what the network explains, the tightest rows, the
// compiler, the caution, and what to do next.
func (r *signoffResult) firstScreen(w io.Writer, p page) error {
	loss, cost := r.JudgedLoss(), r.JudgedCost()
	if len(loss) == 0 {
		loss = r.UnjudgedLoss()
	}
	if len(cost) == 0 {
		cost = r.UnjudgedCost()
	}
	compilers := compilerLines
	for nLoss, nCost := min(screenLoss, len(loss)), min(screenCost, len(cost)); ; {
		var b strings.Builder
		tables := []report.Table{lossScreen(loss[:nLoss], len(loss)),
			costScreen(cost[:nCost], len(cost))}
		if err := r.screen(&b, p, tables, compilers); err != nil {
			return err
		}
		isFewest := nLoss <= 1 && nCost <= 1
		switch {
		case strings.Count(b.String(), "\n") <= screenLines || isFewest && compilers == 1:
			_, err := io.WriteString(w, b.String())
			return err
		case isFewest:
			compilers--
			continue
		}
		if isLossFirst(loss[:nLoss], cost[:nCost]) {
			nLoss--
		} else {
			nCost--
		}
	}
}

// isLossFirst reports whether the next row that is left out is one of the accuracy: the last row of
// each table is kept, a row that does not pass longer than one that does, and else the table with
// more rows gives one.
func isLossFirst(loss, cost []report.JudgedRow) bool {
	if len(loss) <= 1 || len(cost) <= 1 {
		return len(cost) <= 1
	}
	lossPasses := loss[len(loss)-1].Verdict == budget.Pass
	costPasses := cost[len(cost)-1].Verdict == budget.Pass
	if lossPasses != costPasses {
		return lossPasses
	}
	return len(loss) > len(cost)
}

// screen writes the first screen with the given tables, and the compilers in so many lines at most.
func (r *signoffResult) screen(b *strings.Builder, p page, tables []report.Table,
	compilers int) error {
	s := r.Signoff
	line := func(text string, most int) { fmt.Fprintln(b, p.wrapUpTo(text, 2, most)) }
	line(fmt.Sprintf("Sign-off: %s (kerf %s), handoff: %s", s.Name, s.Kerf, r.handoff), 2)
	// what explains a row is the next command
	verdict := s.VerdictLine()
	for _, see := range []string{"kerf explain", s.RemedyCommand(), s.MeasureCommand()} {
		verdict = strings.Replace(verdict, "; see "+see+" (", " (", 1)
	}
	if strings.Count(p.wrap(verdict, 2), "\n") >= verdictLines {
		verdict = fmt.Sprintf("Verdict: %s: %s.", s.Verdict, s.Reason)
	}
	fmt.Fprintln(b, p.paint(p.wrapUpTo(verdict, 2, verdictLines)))
	line(fmt.Sprintf("Kept: %s, %s.", s.KeptText(), s.Network.Formats), 2)
	if explained := s.ShortExplained(); explained != "" {
		line(explained, 2)
	}
	for _, full := range tables {
		if len(full.Rows) == 0 {
			continue
		}
		fmt.Fprintln(b)
		line(full.Title, 1)
		if err := p.printText(b, p.roomForNames(full.Visible())); err != nil {
			return err
		}
	}
	fmt.Fprintln(b)
	if compiler := s.CompilerLine(); compiler != "" {
		line(compiler, compilers)
	}
	line(report.ShortCaution, 2)
	line("Next: "+r.next(), 2)
	return nil
}

// lossScreen shows some rows of the accuracy, of so many. Names stand last: values stay below each
// other however long a name is.
func lossScreen(rows []report.JudgedRow, all int) report.Table {
	what, upTo := "Accuracy, measured", "rise up to"
	for _, row := range rows {
		switch {
		case row.Verdict == "":
			what, upTo = "Accuracy, measured, without a tolerance", "change"
		case !row.IsRise:
			upTo = "up to"
		}
	}
	t := report.Table{Title: screenTitle(what, len(rows), all),
		Head: []string{"verdict", "used", upTo, "limit", "float", "fixed", "row"}, Numbers: 1,
		Words: 1}
	for _, row := range rows {
		t.Rows = append(t.Rows, []string{report.ShortVerdict(row.Verdict),
			report.UsedPercent(row.Used), row.UpTo, row.Limit, row.Given, row.Value,
			nameAndUnit(&row)})
	}
	return t
}

// nameAndUnit returns the name of a row of the accuracy as kerf explain takes it, with the unit of
// its values in brackets behind it.
func nameAndUnit(row *report.JudgedRow) string {
	if row.Unit == "" {
		return row.Row
	}
	return fmt.Sprintf("%s (%s)", row.Row, row.Unit)
}

// costScreen shows some rows of the cost, of so many.
func costScreen(rows []report.JudgedRow, all int) report.Table {
	what := "Cost"
	if len(rows) > 0 && rows[0].Verdict == "" {
		what = "Cost, without a limit"
	}
	t := report.Table{Title: screenTitle(what, len(rows), all), Head: []string{"verdict",
		"used", "value", "limit", "uncut", "kind", "row"}, Numbers: 1, Words: 2}
	for _, row := range rows {
		t.Rows = append(t.Rows, []string{report.ShortVerdict(row.Verdict),
			report.UsedPercent(row.Used), row.Value, row.Limit, row.Given, string(row.Kind),
			row.Name})
	}
	return t
}

// roomForNames returns a table of the first screen without the two columns in front of the names,
// which are not what is judged, where names would take more than two lines beside them.
func (p page) roomForNames(t report.Table) report.Table {
	last := len(t.Head) - 1
	others := 0
	for c := range last {
		others += columnWidth(t, c) + 1
	}
	if columnWidth(t, last) <= 2*(p.width-others) {
		return t
	}
	narrow := report.Table{Numbers: t.Numbers, Words: 1}
	drop := func(cells []string) []string {
		return append(slices.Clone(cells[:last-2]), cells[last])
	}
	narrow.Head = drop(t.Head)
	for _, row := range t.Rows {
		narrow.Rows = append(narrow.Rows, drop(row))
	}
	return narrow
}

// screenTitle says how many of all rows a table shows.
func screenTitle(what string, shown, all int) string {
	if shown == all {
		return fmt.Sprintf("%s: %s", what, report.Plural(all, "row"))
	}
	return fmt.Sprintf("%s: the tightest %d of %d rows", what, shown, all)
}

// next says with which command the reader goes on.
func (r *signoffResult) next() string {
	handoff := shellWord(r.handoff)
	all := fmt.Sprintf("kerf show %s --all (with %s)", handoff,
		report.Plural(len(r.Warnings), "note"))
	broken := func(rows []report.JudgedRow) bool {
		return len(rows) > 0 && rows[0].Verdict != budget.Pass
	}
	switch loss, cost := r.JudgedLoss(), r.JudgedCost(); {
	case len(r.Causes) > 0 && r.Checked == "":
		return all
	case len(cost) > 0 && cost[0].Verdict == budget.NoEstimate:
		return r.MeasureCommand() + "; " + all
	case broken(cost):
		return r.RemedyCommand() + "; " + all
	case broken(loss):
		return fmt.Sprintf("kerf explain %s %s; %s", handoff, shellWord(loss[0].Name), all)
	}
	return all
}

// shellWord returns a text such that a POSIX shell takes it for one word (POSIX.1-2017, Shell
// Command Language 2.2.2).
func shellWord(text string) string {
	text = report.Visible(text)
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' ||
			strings.ContainsRune("_-./+,:@%", r)
	}
	if text != "" && strings.IndexFunc(text, func(r rune) bool { return !plain(r) }) < 0 {
		return text
	}
	return "'" + strings.ReplaceAll(text, "'", `'\''`) + "'"
}
