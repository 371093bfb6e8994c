package model

import (
	"errors"
	"fmt"
	"io"
	"strings"
)

// Sentinels for [errors.Is].
var (
	ErrFormat      = errors.New("broken model file")      // every [*FormatError] unwraps to it
	ErrUnsupported = errors.New("model is not supported") // every [*UnsupportedError] unwraps to it
)

// FormatError is the error of a broken model file: no program could read it as what its name says,
// or its tensors contradict each other.
type FormatError struct {
	File  string // as the caller named it; empty for a network that was never in a file
	Where string // tensor, member or field; may be empty
	Msg   string // one lower-case sentence without full stop
	Hint  string // advice for the user; may be empty
}

// Error returns file, place and message, separated by colons.
func (e *FormatError) Error() string { return sentence(e.File, e.Where, e.Msg) }

// Unwrap returns [ErrFormat].
func (e *FormatError) Unwrap() error { return ErrFormat }

// HintText returns the advice that goes with the error; where there is no Hint, to save the file
// again.
func (e *FormatError) HintText() string {
	if e.Hint == "" {
		return "the file is damaged or not what its name says; save it again from the training " +
			"program"
	}
	return e.Hint
}

// UnsupportedError is the error of a model file that is valid as far as it was read, but holds
// something that this package does not handle. The fields are those of [FormatError].
type UnsupportedError struct {
	File  string
	Where string
	Msg   string
	Hint  string
}

// Error returns file, place and message, separated by colons.
func (e *UnsupportedError) Error() string { return sentence(e.File, e.Where, e.Msg) }

// Unwrap returns [ErrUnsupported].
func (e *UnsupportedError) Unwrap() error { return ErrUnsupported }

// HintText returns the advice that goes with the error, or "".
func (e *UnsupportedError) HintText() string { return e.Hint }

// sentence joins the parts that are not empty with colons.
func sentence(parts ...string) string {
	var given []string
	for _, p := range parts {
		if p != "" {
			given = append(given, p)
		}
	}
	return strings.Join(given, ": ")
}

// place is where an error happened: a file, and where known the tensor, member or field in it.
type place struct{ file, where string }

func (p place) tensor(name string) place { return place{p.file, fmt.Sprintf("tensor %q", name)} }

func (p place) array(name string) place { return place{p.file, fmt.Sprintf("array %q", name)} }

func (p place) broken(hint, format string, args ...any) error {
	return &FormatError{File: p.file, Where: p.where, Msg: fmt.Sprintf(format, args...), Hint: hint}
}

func (p place) unsupported(hint, format string, args ...any) error {
	return &UnsupportedError{File: p.file, Where: p.where, Msg: fmt.Sprintf(format, args...),
		Hint: hint}
}

// readAt fills the buffer from an offset of a file. A file that is shorter than its stated size
// gives a [*FormatError].
func (p place) readAt(r io.ReaderAt, buffer []byte, offset int64) error {
	n, err := r.ReadAt(buffer, offset)
	switch {
	case n == len(buffer):
		return nil
	case err == io.EOF:
		return p.broken("was the file copied completely?", "ends at byte %d, before byte %d",
			offset+int64(n), offset+int64(len(buffer)))
	}
	return fmt.Errorf("%s: %w", sentence(p.file, p.where, "reading failed"), err)
}
