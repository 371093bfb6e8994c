package fault

import (
	"errors"
	"io/fs"
	"os"
	"strconv"
	"strings"
)

// Error is what is wrong with a file, a folder, a value or a command line, and where.
type Error struct {
	File   string // file or folder as the caller named it; empty where there is none
	Line   int    // line of the file, or step of a recording, from 1; 0 where all of it is meant
	Column int    // in the line, from 1, in characters; 0 where all of the line is meant
	// Name says what in the file is meant, such as `column pressure` or `tensor "bias"`; may be
	// empty.
	Name string
	Msg  string // what is wrong: one lower-case clause without full stop
	Hint string // advice for the user; may be empty
	// Kind is the sentinel by which callers tell the error apart, such as dataset.ErrInput; nil
	// where no caller does.
	Kind error
	// Cause is the error that this one comes from, or nil. Msg holds what a reader needs of its
	// text.
	Cause error
}

// New returns an error without a place.
func New(msg, hint string) *Error { return &Error{Msg: msg, Hint: hint} }

// OfFile returns the error of a file or folder with which the operating system cannot do what is
// wanted. The text is "path: what: reason", see [Reason].
func OfFile(path, what string, cause error, hint string) *Error {
	msg := what + ": " + Reason(cause)
	if path == "" {
		msg = ": " + msg // an empty name is shown as one
	}
	return &Error{File: path, Msg: msg, Hint: hint, Cause: cause}
}

// From sets the cause, and returns the error.
func (e *Error) From(cause error) *Error {
	e.Cause = cause
	return e
}

// Error returns place and message: "file:line:column: name: message" without the parts that are
// not given.
func (e *Error) Error() string {
	place := e.File
	for _, number := range []int{e.Line, e.Column} {
		if number > 0 {
			place += ":" + strconv.Itoa(number)
		}
	}
	var given []string
	for _, part := range []string{place, e.Name, e.Msg} {
		if part != "" {
			given = append(given, part)
		}
	}
	return strings.Join(given, ": ")
}

// Unwrap returns kind and cause, as far as the error has them.
func (e *Error) Unwrap() []error {
	var all []error
	for _, err := range []error{e.Kind, e.Cause} {
		if err != nil {
			all = append(all, err)
		}
	}
	return all
}

// Hint returns the advice of the outermost [Error] that err is or wraps, or "".
func Hint(err error) string {
	var e *Error
	if errors.As(err, &e) {
		return e.Hint
	}
	return ""
}

// Reason returns the text of an error of the file system without the path: who prints it names the
// file as the user did.
func Reason(err error) string {
	var ofPath *fs.PathError
	var ofLink *os.LinkError
	switch {
	case errors.As(err, &ofPath):
		return ofPath.Err.Error()
	case errors.As(err, &ofLink):
		return ofLink.Err.Error()
	}
	return err.Error()
}
