package main

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/fault"
)

// namedRows finds what a person asks for with the name of a row, or with what a table shows of one:
// the explanation of the rows of one name, or the list of the rows that have some names among
// theirs, such as an output, a scenario or a target; where that is one row, its explanation, so
// that a target and a part are enough. Spellings that differ in more go after those that differ in
// less; a spelling that fits two names is refused. again is the command that lists all rows.
func namedRows(s *report.Signoff, asked, again string) (result, error) {
	rows := listRows(s).Rows
	for _, spelt := range []spelling{asListed, asJoined, asCopied} {
		var exact []string // names in full
		var listed []listedRow
		for _, r := range rows {
			for _, names := range r.inFull() {
				text := budget.RowText(names...)
				if spelt.row(names) == spelt.asked(asked) && !slices.Contains(exact, text) {
					exact = append(exact, text)
				}
			}
			if slices.ContainsFunc(someOf(r.Names), func(names []string) bool {
				return spelt.row(names) == spelt.asked(asked)
			}) {
				listed = append(listed, r)
			}
		}
		switch {
		case len(exact) == 1:
			return explainRow(s, exact[0]), nil
		case len(exact) > 1:
			return nil, fault.New(fmt.Sprintf("%q names more than one row of the sign-off of %s",
				asked, s.Name), question(exact, again))
		case len(listed) == 1:
			return explainRow(s, listed[0].Row), nil
		case len(listed) > 0:
			return &rowList{Rows: listed}, nil
		}
	}
	return nil, fault.New(fmt.Sprintf("the sign-off of %s has no row %q", s.Name, asked),
		question(nearRows(rows, asked), again))
}

// inFull lists the names under which a row is explained: its own, and of an accuracy row that of
// its place, which stands for all its metrics.
func (r *listedRow) inFull() [][]string {
	if r.ofCost {
		return [][]string{r.Names}
	}
	return [][]string{r.Names[:2], r.Names}
}

// someOf lists the ways to leave out some names of a row, but not all.
func someOf(names []string) [][]string {
	var all [][]string
	for kept := 1; kept < 1<<len(names); kept++ {
		var some []string
		for i, name := range names {
			if kept&(1<<i) != 0 {
				some = append(some, name)
			}
		}
		all = append(all, some)
	}
	return all
}

// spelling is a way to write names of rows: what is asked for means a row if both come out the
// same.
type spelling struct {
	row   func(names []string) string
	asked func(text string) string
}

var (
	// asListed has a backslash in front of what would separate names.
	asListed = spelling{func(names []string) string { return budget.RowText(names...) },
		func(text string) string { return text }}

	// asJoined has none.
	asJoined = spelling{func(names []string) string {
		return strings.Join(names, "/")
	}, asListed.asked}

	// asCopied is what is left of a name that stands in a table or a sentence: blanks for
	// underscores, any case, the word region or scenario in front, a colon between the names, a
	// line end in a cell that is wrapped.
	asCopied = spelling{func(names []string) string { return fold(strings.Join(names, "/")) },
		func(text string) string { return fold(strings.Join(splitRow(text), "/")) }}
)

// placeWord is the word in front of a place.
var placeWord = regexp.MustCompile(`(^|/)(region|scenario) `)

// unitBehind is a unit in brackets behind a name, as the first screen of a sign-off shows it.
var unitBehind = regexp.MustCompile(` \([^()]*\)$`)

func fold(text string) string {
	text = strings.Join(strings.Fields(fault.Folded(unitBehind.ReplaceAllString(text, ""))), " ")
	text = strings.NewReplacer(": ", "/", "/ ", "/").Replace(text)
	return placeWord.ReplaceAllString(text, "$1")
}

// splitRow is the inverse of [budget.RowText].
func splitRow(text string) []string {
	names := []string{""}
	mark := false
	for _, r := range text {
		switch last := &names[len(names)-1]; {
		case r == '\\' && !mark:
			mark = true
			continue
		case r == '/' && !mark:
			names = append(names, "")
		case mark && r != '/' && r != '\\':
			*last += `\` + string(r)
		default:
			*last += string(r)
		}
		mark = false
	}
	if mark {
		names[len(names)-1] += `\`
	}
	return names
}

// nearRows lists names of rows, of places, and of parts of rows from which what is asked for
// differs by a slip in each of its names.
func nearRows(rows []listedRow, asked string) []string {
	parts := splitRow(asked)
	var known [][]string
	for _, r := range rows {
		candidates := r.inFull()
		if len(parts) == 1 {
			candidates = nil
			for _, name := range r.Names {
				candidates = append(candidates, []string{name})
			}
		}
		for _, names := range candidates {
			if len(names) == len(parts) {
				known = append(known, names)
			}
		}
	}
	for i, part := range parts {
		var there []string
		for _, names := range known {
			there = append(there, names[i])
		}
		isNear := func(name string) bool { return fold(name) == fold(part) }
		if !slices.ContainsFunc(there, isNear) {
			near := fault.Closest(part, there)
			isNear = func(name string) bool { return slices.Contains(near, name) }
		}
		known = slices.DeleteFunc(known, func(names []string) bool { return !isNear(names[i]) })
	}
	var texts []string
	for _, names := range known {
		if text := budget.RowText(names...); !slices.Contains(texts, text) {
			texts = append(texts, text)
		}
	}
	return texts
}

// question is the hint that asks for one of some names, three at most, and says what lists all.
func question(names []string, again string) string {
	const most = 3 // our choice, as in [fault.Closest]
	var quoted []string
	for _, name := range names[:min(most, len(names))] {
		quoted = append(quoted, shellWord(name))
	}
	return strings.TrimSpace(fault.Question(quoted) + " " + again + " lists the rows")
}
