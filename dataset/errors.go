package dataset

import (
	"errors"
	"fmt"
)

// ErrInput is what every [InputError] unwraps to.
var ErrInput = errors.New("bad recording or table")

// InputError says what is wrong with a table or recording, and where.
type InputError struct {
	File   string // name as the user gave it
	Line   int    // 1-based line of the file, 0 when the whole file is meant
	Column string // column name, empty when the whole line is meant
	Msg    string // what is wrong
	Hint   string // what to do about it, may be empty
}

// Error gives the place in the shape file:line: column NAME: message.
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
