package report

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"kerf/dataset"
)

// Visible writes characters that a reader would not see, or that would move others, by their code,
// as <U+202E>. Names with such characters are refused when a job is read ([dataset.NameFault]);
// names of files, and texts that errors quote from files, are not.
func Visible(text string) string {
	hidden := func(r rune) bool { return r == utf8.RuneError || dataset.IsHidden(r) }
	if strings.IndexFunc(text, hidden) < 0 {
		return text
	}
	var b strings.Builder
	for _, r := range text {
		if hidden(r) {
			fmt.Fprintf(&b, "<U+%04X>", r)
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// visible returns texts as [Visible] returns each.
func visible(texts []string) []string {
	shown := make([]string, len(texts))
	for i, t := range texts {
		shown[i] = Visible(t)
	}
	return shown
}

// formulaStart are the characters with which spreadsheets let a formula begin, the wide forms
// included (OWASP, "CSV Injection").
const formulaStart = "=+-@\t\r＝＋－＠"

// textMark stands in front of a text that is no formula.
const textMark = "'"

// SafeCell returns a text such that a spreadsheet does not take it for a formula: an apostrophe
// stands in front of a text that would begin one, and of a text that begins with an apostrophe, so
// that a reader who takes one off has the text. Numbers, with a unit or without, stay as they are.
func SafeCell(text string) string {
	text = Visible(text)
	if first, _ := utf8.DecodeRuneInString(text); text != "" &&
		strings.ContainsRune(formulaStart+textMark, first) && !isFigure(text) {
		return textMark + text
	}
	return text
}

// isFigure reports whether a text is a number in groups of digits, maybe with a unit of letters
// behind a blank.
func isFigure(text string) bool {
	words := strings.Fields(text)
	if last := len(words) - 1; last > 0 &&
		strings.Trim(words[last], "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ%") == "" {
		words = words[:last]
	}
	_, err := strconv.ParseFloat(strings.Join(words, ""), 64)
	return err == nil
}
