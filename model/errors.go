package model

import (
	"errors"
	"fmt"
	"io"

	"kerf/fault"
)

// Sentinels for [errors.Is]: the kinds of [fault.Error] that files of models give.
var (
	// ErrFormat is a broken model file: no program could read it as what its name says, or its
	// tensors contradict each other.
	ErrFormat = errors.New("broken model file")
	// ErrUnsupported is a model file that is valid as far as it was read, but holds something that
	// this package does not handle.
	ErrUnsupported = errors.New("model is not supported")
)

// damagedHint is the advice for a broken file where there is no better one.
const damagedHint = "the file is damaged or not what its name says; save it again from the " +
	"training program"

// place is where an error happened: a file, and where known the tensor, member or field in it.
type place struct{ file, where string }

func (p place) tensor(name string) place { return place{p.file, fmt.Sprintf("tensor %q", name)} }

func (p place) array(name string) place { return place{p.file, fmt.Sprintf("array %q", name)} }

// broken returns an error of kind [ErrFormat]. As in [fmt.Errorf] the verb %w is for the cause.
func (p place) broken(hint, format string, args ...any) *fault.Error {
	if hint == "" {
		hint = damagedHint
	}
	return p.refusal(ErrFormat, hint, fmt.Errorf(format, args...))
}

// unsupported returns an error of kind [ErrUnsupported].
func (p place) unsupported(hint, format string, args ...any) *fault.Error {
	return p.refusal(ErrUnsupported, hint, fmt.Errorf(format, args...))
}

// errUnsaid is the cause of an error about what arrays do not say.
var errUnsaid = errors.New("the file does not say it")

// unsaid returns an error of kind [ErrUnsupported] about what a file does not say, but a [Spec]
// could.
func (p place) unsaid(hint, format string, args ...any) *fault.Error {
	return p.unsupported(hint, format, args...).From(errUnsaid)
}

func (p place) refusal(kind error, hint string, says error) *fault.Error {
	return &fault.Error{File: p.file, Name: p.where, Msg: says.Error(), Hint: hint, Kind: kind,
		Cause: errors.Unwrap(says)}
}

// readAt fills the buffer from an offset of a file. A file that is shorter than its stated size
// gives an error of kind [ErrFormat].
func (p place) readAt(r io.ReaderAt, buffer []byte, offset int64) error {
	n, err := r.ReadAt(buffer, offset)
	switch {
	case n == len(buffer):
		return nil
	case err == io.EOF:
		return p.broken("was the file copied completely?", "ends at byte %d, before byte %d",
			offset+int64(n), offset+int64(len(buffer)))
	}
	return &fault.Error{File: p.file, Name: p.where, Msg: fmt.Sprintf("reading failed: %v", err),
		Cause: err}
}
