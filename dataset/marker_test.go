package dataset

import (
	"errors"
	"strings"
	"testing"

	"kerf/fault"
)

// Marks of the place of an error in the text of a test case, so that nobody has to count lines: »
// stands before the wrong cell, ¶ before a line that is wrong as a whole. Without a mark the whole
// file is meant.
const (
	cellMark = "»"
	lineMark = "¶"
)

// unmark takes the mark out and returns the place where it stood.
func unmark(t *testing.T, marked string) (text string, line int, column string) {
	t.Helper()
	text = strings.NewReplacer(cellMark, "", lineMark, "").Replace(marked)
	before, _, isCell := strings.Cut(marked, cellMark)
	if !isCell {
		before, _, isLine := strings.Cut(marked, lineMark)
		if !isLine {
			return text, 0, ""
		}
		return text, 1 + strings.Count(before, "\n"), ""
	}
	header, _, _ := strings.Cut(text, "\n")
	names := strings.Split(header, ",")
	cell := strings.Count(before[strings.LastIndex(before, "\n")+1:], ",")
	return text, 1 + strings.Count(before, "\n"), names[cell]
}

// checkInputError compares an error with the place and message that it must have. It fails without
// a hint.
func checkInputError(t *testing.T, err error, want fault.Error) {
	t.Helper()
	var got *fault.Error
	if !errors.As(err, &got) || !errors.Is(err, ErrInput) {
		t.Fatalf("error %v, want one of kind ErrInput", err)
	}
	if got.File != want.File || got.Line != want.Line || got.Name != want.Name {
		t.Errorf("place %s, line %d, %q; want %s, line %d, %q", got.File, got.Line, got.Name,
			want.File, want.Line, want.Name)
	}
	if got.Msg != want.Msg {
		t.Errorf("message %q, want %q", got.Msg, want.Msg)
	}
	if got.Hint == "" {
		t.Errorf("no hint comes with %q", got)
	}
}
