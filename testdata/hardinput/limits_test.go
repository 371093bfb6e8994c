package hardinput

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

// failures is a T that keeps the text of its failures.
type failures struct{ text string }

func (f *failures) Helper() {}

func (f *failures) Fatalf(format string, args ...any) { f.text += fmt.Sprintf(format, args...) }

var kept []byte // the memory that a reader allocates

func TestCheckFindsWhatItLooksFor(t *testing.T) {
	limits := Limits{PerByte: 10, Spare: 1 << 20}
	for _, c := range []struct {
		name string
		read func() error
		want string
	}{
		{"good", func() error { kept = make([]byte, 1<<10); return nil }, ""},
		{"refused", func() error { return errors.New("a.csv:1: bad") }, ""},
		{"too much memory", func() error {
			kept = make([]byte, 4<<20)
			return nil
		}, "at most 1049576 may be"},
		{"many small pieces", func() error {
			for range 4096 {
				kept = make([]byte, 1<<10)
			}
			return nil
		}, "at most 1049576 may be"},
		{"no file in the error", func() error {
			return errors.New("bad")
		}, "does not begin with the file's name"},
	} {
		var f failures
		limits.Check(&f, 100, "a.csv", c.read)
		if (c.want == "") != (f.text == "") || !strings.Contains(f.text, c.want) {
			t.Errorf("%s: got %q, want %q", c.name, f.text, c.want)
		}
	}
}
