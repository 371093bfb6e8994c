package dataset

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// LongestName is the most characters of a name or unit. Our choice: names stand in tables, and no
// table shows more.
const LongestName = 200

// forAll stands for all scenarios, features or outputs together in scores and reports, so none of
// them can have it as its name.
const forAll = "all"

// NameFault returns what keeps a text from being a name or unit in reports, or "" if nothing does.
// A report shows every character of a name. So the text may hold no control characters, no
// invisible ones and none that change the direction of writing: they would make two names look
// alike or move the text beside them. Nor may it hold blanks at an end, several in a row or of
// another kind, which a table, Markdown or HTML shows as one or not at all. Characters with a
// meaning in C, HTML, Markdown, a list or a spreadsheet are allowed; the code that writes such a
// text takes that meaning away.
func NameFault(text string) string {
	if !utf8.ValidString(text) {
		return "the text is not UTF-8"
	}
	if n := utf8.RuneCountInString(text); n > LongestName {
		return fmt.Sprintf("the text has %d characters, at most %d are shown", n, LongestName)
	}
	before := ' ' // a first character counts as one behind a blank
	for i, r := range text {
		switch {
		case IsHidden(r):
			return fmt.Sprintf("the text holds the character U+%04X, which is not shown or "+
				"moves others", r)
		case r == unicode.ReplacementChar:
			return "the text holds U+FFFD, which stands for a character that was lost in a " +
				"conversion"
		case r != ' ' && unicode.Is(unicode.Zs, r):
			return fmt.Sprintf("the text holds the character U+%04X, which looks like a blank", r)
		case r == ' ' && i == 0:
			return "the text begins with a blank"
		case r == ' ' && before == ' ':
			return "the text holds two blanks in a row, which are shown as one"
		case i == 0 && unicode.Is(unicode.M, r):
			return fmt.Sprintf("the text begins with U+%04X, which joins what is in front of it", r)
		}
		before = r
	}
	if text != "" && before == ' ' {
		return "the text ends with a blank"
	}
	return ""
}

// IsHidden reports whether a character is not shown as itself: line ends and other controls,
// invisible characters, those that change the direction of writing, and codes that are no
// character. Source: general categories Cc, Cf, Zl and Zp, and the properties
// Other_Default_Ignorable_Code_Point and Noncharacter_Code_Point, of the Unicode Character
// Database.
func IsHidden(r rune) bool {
	return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp,
		unicode.Other_Default_Ignorable_Code_Point, unicode.Noncharacter_Code_Point)
}

// nameHint is the advice for a name that [NameFault] refuses.
const nameHint = "write it in UTF-8, with visible characters and single blanks only; " +
	"hexdump -C shows what an editor does not"

// ListNames writes names into one text for people, with a comma and a blank between them. A name
// that holds a comma or a quotation mark stands in quotes as in CSV, so that [ParseNames] reads the
// same names.
func ListNames(names []string) string {
	cells := make([]string, len(names))
	for i, name := range names {
		if strings.ContainsAny(name, `,"`) {
			name = `"` + strings.ReplaceAll(name, `"`, `""`) + `"`
		}
		cells[i] = name
	}
	return strings.Join(cells, ", ")
}

// ParseNames reads a list of names as [ListNames] writes it: one line of CSV (RFC 4180), with or
// without blanks around the names. The list of an empty text is empty.
func ParseNames(text string) ([]string, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.TrimLeadingSpace = true
	names, err := r.Read()
	if errors.Is(err, io.EOF) {
		return nil, nil
	}
	if _, more := r.Read(); err == nil && !errors.Is(more, io.EOF) {
		err = errors.New("names stand in one line")
	}
	if err != nil {
		return nil, err
	}
	for i := range names {
		names[i] = strings.TrimSpace(names[i])
	}
	return names, nil
}

// Name returns a cell of the present row as a name or unit, or an error if [NameFault] finds one.
func (t *Table) Name(column int) (string, error) {
	text := t.Text(column)
	if fault := NameFault(text); fault != "" {
		return "", t.Fail(column, fault, nameHint)
	}
	return text, nil
}

// names returns the cells of several columns as [Table.Name] does.
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

// quoted returns a text from a file as an error shows it, cut to 40 characters.
func quoted(text string) string {
	const most = 40 // characters; our choice, so that an error stays one line
	if utf8.RuneCountInString(text) > most {
		return fmt.Sprintf("%q...", string([]rune(text)[:most]))
	}
	return fmt.Sprintf("%q", text)
}
