package model

import (
	"encoding/binary"
	"strconv"
	"strings"
)

// maxNPYHeader is NumPy's own default limit (numpy.lib.format.read_array, max_header_size).
const maxNPYHeader = 10_000

// npyHeader is the header of an .npy file.
type npyHeader struct {
	descr   string           // type as NumPy writes it, such as "<f4"
	float   floatType        // set by setType
	order   binary.ByteOrder // set by setOrder
	fortran bool             // the data are column-major
	shape   []int
}

// parseNPYHeader splits an .npy file into header and data.
//
// The parser is our own because npyio v0.14.0, with which tests compare it, panics on a damaged
// header, allocates up to 4 GiB because a version 2 header says so, does not know version 3, and
// links a pickle reader.
func parseNPYHeader(raw []byte, at place) (npyHeader, []byte, error) {
	var none npyHeader
	if len(raw) < 8 || string(raw[:6]) != "\x93NUMPY" {
		return none, nil, at.broken("", "does not start like an .npy file")
	}
	lengthBytes := 4
	switch raw[6] {
	case 1:
		lengthBytes = 2
	case 2, 3:
	default:
		return none, nil, at.unsupported("", "has .npy version %d.%d, versions 1 to 3 are read",
			raw[6], raw[7])
	}
	rest := raw[8:]
	if len(rest) < lengthBytes {
		return none, nil, at.broken("", "ends inside its header")
	}
	length := uint32(binary.LittleEndian.Uint16(rest))
	if lengthBytes == 4 {
		length = binary.LittleEndian.Uint32(rest)
	}
	rest = rest[lengthBytes:]
	if length > maxNPYHeader {
		return none, nil, at.unsupported("", "has a header of %d bytes, at most %d are read",
			length, maxNPYHeader)
	}
	if int(length) > len(rest) {
		return none, nil, at.broken("", "ends inside its header")
	}
	s := dictScanner{rest: string(rest[:length]), at: at}
	header, err := s.header()
	return header, rest[length:], err
}

// npyFloats are the types of floats, by the type code without its byte order.
var npyFloats = map[string]floatType{"f2": float16Type, "f4": float32Type, "f8": float64Type}

// setOrder sets the byte order from the first character of descr, and refuses Python objects.
func (h *npyHeader) setOrder(at place) error {
	if len(h.descr) < 2 {
		return at.broken("", "type %q is not a NumPy type", h.descr)
	}
	switch h.descr[0] {
	case '<':
		h.order = binary.LittleEndian
	case '>':
		h.order = binary.BigEndian
	}
	if h.descr[1] == 'O' {
		return at.unsupported("save plain arrays of numbers",
			"holds pickled Python objects, and %s", pickleMessage)
	}
	return nil
}

// setType sets byte order and type of an array of weights, which must be floats.
func (h *npyHeader) setType(at place) error {
	if err := h.setOrder(at); err != nil {
		return err
	}
	var ok bool
	if h.float, ok = npyFloats[h.descr[1:]]; !ok || h.order == nil {
		return at.unsupported("only float16, float32 and float64 arrays are read: use "+
			"array.astype(numpy.float32)", "has type %q", h.descr)
	}
	return nil
}

// dictScanner reads the Python literal of an .npy header: a dict with exactly the keys descr,
// fortran_order and shape.
type dictScanner struct {
	rest string // not yet read
	at   place
}

// header reads the whole dict.
func (s *dictScanner) header() (npyHeader, error) {
	h := npyHeader{shape: []int{}}
	seen := map[string]bool{}
	if !s.accept("{") {
		return h, s.broken("{")
	}
	for !s.accept("}") {
		key, err := s.text()
		if err != nil {
			return h, err
		}
		if seen[key] {
			return h, s.at.broken("", "header key %q stands twice", key)
		}
		seen[key] = true
		if !s.accept(":") {
			return h, s.broken(":")
		}
		if err := s.value(key, &h); err != nil {
			return h, err
		}
		if !s.accept(",") {
			if !s.accept("}") {
				return h, s.broken(", or }")
			}
			break
		}
	}
	if len(seen) != 3 {
		return h, s.at.broken("", "header lacks descr, fortran_order or shape")
	}
	if strings.TrimSpace(s.rest) != "" {
		return h, s.broken("nothing more")
	}
	return h, nil
}

// value reads the value of a key into h.
func (s *dictScanner) value(key string, h *npyHeader) error {
	switch key {
	case "descr":
		if s.accept("[") {
			return s.at.unsupported("save plain float arrays", "holds records instead of numbers")
		}
		var err error
		h.descr, err = s.text()
		return err
	case "fortran_order":
		if h.fortran = s.accept("True"); h.fortran || s.accept("False") {
			return nil
		}
		return s.broken("True or False")
	case "shape":
		return s.tuple(&h.shape)
	}
	return s.at.broken("", "header has the unknown key %q", key)
}

// accept skips spaces and then the word, and reports whether it stood there.
func (s *dictScanner) accept(word string) bool {
	trimmed := strings.TrimLeft(s.rest, " \t\r\n")
	after, ok := strings.CutPrefix(trimmed, word)
	if ok {
		s.rest = after
	}
	return ok
}

// text reads a quoted string. NumPy writes no string with a quote or backslash inside.
func (s *dictScanner) text() (string, error) {
	quote := "'"
	if !s.accept(quote) {
		quote = `"`
		if !s.accept(quote) {
			return "", s.broken("quoted text")
		}
	}
	text, after, closed := strings.Cut(s.rest, quote)
	if !closed || strings.Contains(text, `\`) {
		return "", s.broken("quoted text")
	}
	s.rest = after
	return text, nil
}

// tuple reads a shape such as (), (7,) or (3, 4).
func (s *dictScanner) tuple(shape *[]int) error {
	if !s.accept("(") {
		return s.broken("a shape like (3, 4)")
	}
	for !s.accept(")") {
		s.rest = strings.TrimLeft(s.rest, " ")
		digits := len(s.rest) - len(strings.TrimLeft(s.rest, "0123456789"))
		dimension, err := strconv.Atoi(s.rest[:digits])
		if err != nil {
			return s.broken("a dimension")
		}
		*shape = append(*shape, dimension)
		s.rest = s.rest[digits:]
		if !s.accept(",") {
			if len(*shape) == 1 || !s.accept(")") {
				return s.broken(", or )")
			}
			break
		}
	}
	return nil
}

// broken returns the error of a header in which something else than expected stands at the present
// position.
func (s *dictScanner) broken(expected string) error {
	found := strings.TrimSpace(s.rest)
	if len(found) > 20 {
		found = found[:20] + "..."
	}
	return s.at.broken("", "header has %q where %s is expected", found, expected)
}
