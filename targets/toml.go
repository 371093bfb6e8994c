package targets

import (
	"errors"
	"fmt"
	"strings"
	"unicode"

	"github.com/BurntSushi/toml"

	"kerf/fault"
)

// MaxFileBytes is the size of the largest TOML file that is read, in bytes. Our choice: profiles
// and jobs have some thousand bytes, and the limit keeps a wrong file name from filling the memory.
const MaxFileBytes = 256 << 10

// StrictDecode decodes a TOML text into the struct or map that into points to. Unlike the decoder
// of the TOML library it refuses keys that into has no place for, takes upper and lower case as
// different, and gives the place of every mistake. Of several mistakes it reports the first in the
// file. Field names and the toml struct tag work as in the library. Types that implement
// toml.Unmarshaler or encoding.TextUnmarshaler (for TOML strings) read themselves; their errors are
// reported at the value and keep their hint, see [fault.Hint]. A field of type any takes every
// value.
//
// All errors are [*fault.Error] with the given file name. On an error into is unchanged.
func StrictDecode(data []byte, file string, into any) error {
	if len(data) > MaxFileBytes {
		return &fault.Error{File: file,
			Msg: fmt.Sprintf("file has %d bytes, more than the %d allowed", len(data),
				MaxFileBytes),
			Hint: "check that this is the right file"}
	}
	text := withoutMark(data)
	// The two byte-order marks of UTF-16.
	if strings.HasPrefix(text, "\xff\xfe") || strings.HasPrefix(text, "\xfe\xff") {
		return &fault.Error{File: file, Line: 1, Column: 1, Msg: "file is UTF-16, not UTF-8",
			Hint: "save it as UTF-8"}
	}
	if at := tooDeep(text); at >= 0 {
		line, col := lineCol(text, at)
		return &fault.Error{File: file, Line: line, Column: col,
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
		c.first.Line, c.first.Column = lineCol(text, c.offset)
		return c.first
	}
	if _, err := toml.Decode(text, into); err != nil {
		panic(fmt.Sprintf("targets: checked TOML does not decode: %v", err))
	}
	return nil
}

// syntaxError turns an error of the TOML library into ours: one lower-case clause, a place,
// a hint.
func syntaxError(text, file string, err error) *fault.Error {
	var parse toml.ParseError
	if !errors.As(err, &parse) {
		return &fault.Error{File: file, Msg: err.Error(),
			Hint: "check that this is the right file", Cause: err}
	}
	msg := strings.TrimSuffix(parse.Message, ".")
	if rest, ok := strings.CutPrefix(msg, "TOML "); ok {
		msg = rest
	}
	first, size := rune(msg[0]), 1
	msg = string(unicode.ToLower(first)) + msg[size:]
	e := &fault.Error{File: file, Msg: msg, Cause: err}
	e.Line, e.Column = lineCol(text, parse.Position.Start)
	switch {
	case strings.Contains(msg, "already been defined"):
		e.Hint = "remove one of the two"
	case strings.HasPrefix(msg, "expected"):
		e.Hint = `write texts in double quotes, quantities with a unit too: "64 MHz"`
	}
	return e
}
