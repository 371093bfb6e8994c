package dataset

import (
	"fmt"
	"unicode"
	"unicode/utf8"
)

// LongestName bounds names and units, in characters: they stand in tables, and no table shows more.
const LongestName = 200

// NameFault says what keeps a text from being a name or unit in reports, or "" if nothing does. A report shows every
// character of a name: control characters, invisible ones and those that change the direction of writing would make
// two names look alike or move what stands beside them. What has a meaning in C, HTML, Markdown or a spreadsheet is
// no fault; the exporter takes that meaning away.
func NameFault(text string) string {
	if !utf8.ValidString(text) {
		return "the text is not UTF-8"
	}
	if n := utf8.RuneCountInString(text); n > LongestName {
		return fmt.Sprintf("the text has %d characters, at most %d are shown", n, LongestName)
	}
	for _, r := range text {
		if IsHidden(r) {
			return fmt.Sprintf("the text holds the character U+%04X, which is not shown or moves others", r)
		}
	}
	return ""
}

// IsHidden tells whether a character is not shown as itself: line ends and other controls, what is invisible, and what changes the
// direction of writing. Source: general categories Cc, Cf, Zl and Zp of the Unicode Character Database.
func IsHidden(r rune) bool {
	return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp)
}

const nameHint = "write it in UTF-8, with visible characters only; hexdump -C shows what an editor does not"

// Name is a cell of the present row that reports show: a name or unit.
func (t *Table) Name(column int) (string, error) {
	text := t.Text(column)
	if fault := NameFault(text); fault != "" {
		return "", t.Fail(column, fault, nameHint)
	}
	return text, nil
}

// names is Name for several columns.
func (t *Table) names(columns []int) ([]string, error) {
	all := make([]string, len(columns))
	for i, c := range columns {
		var err error
		if all[i], err = t.Name(c); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// quoted is a text from a file as an error shows it.
func quoted(text string) string {
	const most = 40
	if utf8.RuneCountInString(text) > most {
		return fmt.Sprintf("%q...", string([]rune(text)[:most]))
	}
	return fmt.Sprintf("%q", text)
}
