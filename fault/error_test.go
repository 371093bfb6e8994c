package fault

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"testing"
)

func TestErrorText(t *testing.T) {
	for _, c := range []struct {
		err  *Error
		want string
	}{
		{&Error{Msg: "m"}, "m"},
		{New("m", "h"), "m"},
		{&Error{File: "a.csv", Msg: "m"}, "a.csv: m"},
		{&Error{File: "a.csv", Line: 7, Msg: "m"}, "a.csv:7: m"},
		{&Error{File: "a.toml", Line: 7, Column: 3, Msg: "m"}, "a.toml:7:3: m"},
		{&Error{File: "a.csv", Line: 7, Name: "column t", Msg: "m"}, "a.csv:7: column t: m"},
		{&Error{Name: strconv.Quote("5 X"), Msg: "m"}, `"5 X": m`},
		// neither hint nor cause is part of the text
		{&Error{File: "a", Msg: "m", Hint: "h", Kind: fs.ErrExist, Cause: fs.ErrClosed}, "a: m"},
		{OfFile("a", "cannot be read", &fs.PathError{Op: "open", Path: "/x/a", Err: fs.ErrNotExist},
			"h"), "a: cannot be read: file does not exist"},
		{OfFile("", "cannot be read", fs.ErrClosed, "h"), ": cannot be read: file already closed"},
	} {
		if got := c.err.Error(); got != c.want {
			t.Errorf("%#v: text %q, want %q", c.err, got, c.want)
		}
	}
}

// What a caller may ask of an error: the kind, every cause, and the hint of the outermost Error.
func TestErrorUnwraps(t *testing.T) {
	kind := errors.New("kind")
	path := &fs.PathError{Op: "open", Path: "a", Err: fs.ErrPermission}
	inner := &Error{Msg: "inner", Hint: "inner hint", Kind: kind, Cause: path}
	for _, c := range []struct {
		name string
		err  error
		is   []error
		not  error
		hint string
	}{
		{"no error", nil, nil, kind, ""},
		{"another error", kind, []error{kind}, fs.ErrPermission, ""},
		{"alone", &Error{Msg: "m", Hint: "h"}, nil, kind, "h"},
		{"kind and cause", inner, []error{kind, path, fs.ErrPermission}, fs.ErrNotExist,
			"inner hint"},
		{"wrapped", fmt.Errorf("w: %w", inner), []error{kind, fs.ErrPermission}, fs.ErrExist,
			"inner hint"},
		{"as cause", New("outer", "h").From(inner), []error{kind, fs.ErrPermission}, fs.ErrExist,
			"h"},
		// an Error without a hint hides the hint of its cause: it was written for another message
		{"as cause without hint", New("outer", "").From(inner), []error{kind}, fs.ErrExist, ""},
		{"joined", New("outer", "h").From(errors.Join(kind, context.Canceled)),
			[]error{kind, context.Canceled}, fs.ErrExist, "h"},
	} {
		for _, is := range c.is {
			if !errors.Is(c.err, is) {
				t.Errorf("%s: is not %q", c.name, is)
			}
		}
		if errors.Is(c.err, c.not) {
			t.Errorf("%s: is %q", c.name, c.not)
		}
		if got := Hint(c.err); got != c.hint {
			t.Errorf("%s: hint %q, want %q", c.name, got, c.hint)
		}
	}
	var as *fs.PathError
	if !errors.As(New("outer", "").From(inner), &as) || as != path {
		t.Errorf("found %v, want the error of the file system", as)
	}
}

func TestReason(t *testing.T) {
	for _, c := range []struct {
		err  error
		want string
	}{
		{fs.ErrClosed, "file already closed"},
		{&fs.PathError{Op: "open", Path: "a", Err: fs.ErrNotExist}, "file does not exist"},
		{&os.LinkError{Op: "rename", Old: "a", New: "b", Err: fs.ErrExist}, "file already exists"},
		{fmt.Errorf("w: %w", &fs.PathError{Op: "open", Path: "a", Err: fs.ErrNotExist}),
			"file does not exist"},
		{New("m", "h").From(&os.LinkError{Op: "rename", Old: "a", New: "b", Err: fs.ErrExist}),
			"file already exists"},
	} {
		if got := Reason(c.err); got != c.want {
			t.Errorf("%v: reason %q, want %q", c.err, got, c.want)
		}
	}
}
