package targets

import (
	"errors"
	"fmt"
	"strings"
	"unicode"

	"github.com/BurntSushi/toml"
)

// FileError reports a mistake in a TOML file (a profile or a job).
type FileError struct {
	File string // as the caller named it
	Line int    // from 1; 0 if the file as a whole is meant
	Col  int    // from 1, in characters
	Msg  string // the mistake, one clause
	Hint string // what to do about the mistake; may be empty
}

// Error returns "file:line:col: msg", or "file: msg" if the file as a whole is meant.
func (e *FileError) Error() string {
	if e.Line == 0 {
		return e.File + ": " + e.Msg
	}
	return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Col, e.Msg)
}

// HintText returns Hint.
func (e *FileError) HintText() string { return e.Hint }

// MaxFileBytes is the size of the largest TOML file that is read, in bytes. Our choice: profiles
// and jobs have some thousand bytes, and the limit keeps a wrong file name from filling the memory.
const MaxFileBytes = 256 << 10

// StrictDecode decodes a TOML text into the struct or map that into points to. Unlike the decoder
// of the TOML library it refuses keys that into has no place for, takes upper and lower case as
// different, and gives the place of every mistake. Of several mistakes it reports the first in the
// file. Field names and the toml struct tag work as in the library. Types that implement
// toml.Unmarshaler or encoding.TextUnmarshaler (for TOML strings) read themselves; their errors are
// reported at the value and keep their HintText, if they have one. A field of type any takes every
// value.
//
// All errors are *FileError with the given file name. On an error into is unchanged.
func StrictDecode(data []byte, file string, into any) error {
	if len(data) > MaxFileBytes {
		return &FileError{File: file,
			Msg: fmt.Sprintf("file has %d bytes, more than the %d allowed", len(data),
				MaxFileBytes),
			Hint: "check that this is the right file"}
	}
	text := withoutMark(data)
	// The two byte-order marks of UTF-16.
	if strings.HasPrefix(text, "\xff\xfe") || strings.HasPrefix(text, "\xfe\xff") {
		return &FileError{File: file, Line: 1, Col: 1, Msg: "file is UTF-16, not UTF-8",
			Hint: "save it as UTF-8"}
	}
	if at := tooDeep(text); at >= 0 {
		line, col := lineCol(text, at)
		return &FileError{File: file, Line: line, Col: col,
			Msg:  fmt.Sprintf("more than %d tables or lists stand in each other here", deepest),
			Hint: "check that this is the right file"}
	}
	var raw map[string]any
	if _, err := toml.Decode(text, &raw); err != nil {
		return syntaxError(text, file, err)
	}
	c := checker{}
	c.checkInto(into, raw, scanTOML(text))
	if c.first != nil {
		c.first.File = file
		c.first.Line, c.first.Col = lineCol(text, c.offset)
		return c.first
	}
	if _, err := toml.Decode(text, into); err != nil {
		panic(fmt.Sprintf("targets: checked TOML does not decode: %v", err))
	}
	return nil
}

// syntaxError turns an error of the TOML library into a FileError: one lower-case clause, a place,
// a hint.
func syntaxError(text, file string, err error) *FileError {
	var parse toml.ParseError
	if !errors.As(err, &parse) {
		return &FileError{File: file, Msg: err.Error(), Hint: "check that this is the right file"}
	}
	msg := strings.TrimSuffix(parse.Message, ".")
	if rest, ok := strings.CutPrefix(msg, "TOML "); ok {
		msg = rest
	}
	first, size := rune(msg[0]), 1
	msg = string(unicode.ToLower(first)) + msg[size:]
	e := &FileError{File: file, Msg: msg}
	e.Line, e.Col = lineCol(text, parse.Position.Start)
	switch {
	case strings.Contains(msg, "already been defined"):
		e.Hint = "remove one of the two"
	case strings.HasPrefix(msg, "expected"):
		e.Hint = `write texts in double quotes, quantities with a unit too: "64 MHz"`
	}
	return e
}
