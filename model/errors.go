package model

import (
	"errors"
	"fmt"
	"io"
	"strings"
)

// Sentinels for errors.Is: every [*FormatError] is an ErrFormat, every [*UnsupportedError] an
// ErrUnsupported.
var (
	ErrFormat      = errors.New("broken model file")
	ErrUnsupported = errors.New("model is not supported")
)

// FormatError says that a model file is broken: no program could read it as what it claims to be,
// or its tensors contradict each other.
type FormatError struct {
	File  string // as the caller named it; empty for a network that was never in a file
	Where string // tensor, member or field; may be empty
	Msg   string // one lower-case sentence without full stop
	Hint  string // what to do about it; may be empty
}

func (e *FormatError) Error() string { return sentence(e.File, e.Where, e.Msg) }

// Unwrap returns [ErrFormat].
func (e *FormatError) Unwrap() error { return ErrFormat }

// HintText returns the advice that goes with the error.
func (e *FormatError) HintText() string {
	if e.Hint == "" {
		return "the file is damaged or not what its name says; save it again from the training " +
			"program"
	}
	return e.Hint
}

// UnsupportedError says that a model file is valid as far as it was read, but holds something this
// package does not handle. The fields are those of [FormatError].
type UnsupportedError struct {
	File  string
	Where string
	Msg   string
	Hint  string
}

func (e *UnsupportedError) Error() string { return sentence(e.File, e.Where, e.Msg) }

// Unwrap returns [ErrUnsupported].
func (e *UnsupportedError) Unwrap() error { return ErrUnsupported }

// HintText returns the advice that goes with the error, or "".
func (e *UnsupportedError) HintText() string { return e.Hint }

func sentence(parts ...string) string {
	var given []string
	for _, p := range parts {
		if p != "" {
			given = append(given, p)
		}
	}
	return strings.Join(given, ": ")
}

// place is where an error happened: a file and, if known, something in it.
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

// readAt fills buffer from offset. A file that turns out shorter than its stated size is broken.
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
