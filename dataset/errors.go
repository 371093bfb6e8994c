package dataset

import (
	"errors"
	"fmt"
)

// ErrInput is the error that every [InputError] unwraps to.
var ErrInput = errors.New("bad recording or table")

// InputError says what is wrong with a table or recording, and where.
type InputError struct {
	File   string // as the caller named it
	Line   int    // of the file, 1-based, or number of the step; 0 where the whole file is meant
	Column string // name of the column; empty where the whole line is meant
	Msg    string // what is wrong
	Hint   string // advice for the user; may be empty
}

// Error returns the message with its place, in the form "file:line: column NAME: message".
func (e *InputError) Error() string {
	s := e.File
	if e.Line > 0 {
		s += fmt.Sprintf(":%d", e.Line)
	}
	if e.Column != "" {
		s += ": column " + e.Column
	}
	return s + ": " + e.Msg
}

// HintText returns the advice that goes with the error.
func (e *InputError) HintText() string { return e.Hint }

// Unwrap makes errors.Is(err, ErrInput) true.
func (e *InputError) Unwrap() error { return ErrInput }
