package model

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"strconv"
	"strings"
)

// NPYColumn reads a one-dimensional .npy array value by value, whatever its length. The array may
// hold floats, whole numbers, truth values or text.
type NPYColumn struct {
	at     place
	source *bufio.Reader
	left   int                      // number of values not yet read
	raw    []byte                   // the present value
	number func(raw []byte) float64 // decodes a value; nil for text
	decode func(raw []byte) string  // decodes a value; nil for numbers

	// text is the last result of Text and from the value it was made of, because neighbours are
	// mostly equal.
	text string
	from []byte
}

// OpenNPYColumn reads the header of an .npy file; file and array are used in errors only. Damage
// gives [ErrFormat], an array that is not read [ErrUnsupported].
func OpenNPYColumn(r io.Reader, file, array string) (*NPYColumn, error) {
	at := place{file: file}.array(array)
	c := &NPYColumn{at: at, source: bufio.NewReaderSize(r, 1<<14)}
	raw := make([]byte, 12) // magic number, version, and up to four bytes of header length
	n, err := io.ReadFull(c.source, raw[:10])
	if err == nil && raw[6] > 1 {
		_, err = io.ReadFull(c.source, raw[10:])
		n = 12
	}
	if err != nil {
		return nil, c.ended(err)
	}
	length := int(binary.LittleEndian.Uint16(raw[8:]))
	if n == 12 {
		// parseNPYHeader refuses a header of this length
		length = int(min(binary.LittleEndian.Uint32(raw[8:]), maxNPYHeader+1))
	}
	raw = append(raw[:n], make([]byte, min(length, maxNPYHeader))...)
	if _, err := io.ReadFull(c.source, raw[n:]); err != nil {
		return nil, c.ended(err)
	}
	header, _, err := parseNPYHeader(raw, at)
	if err != nil {
		return nil, err
	}
	if err := header.setOrder(at); err != nil {
		return nil, err
	}
	if len(header.shape) != 1 {
		return nil, at.unsupported("save one array of one dimension per column", "has shape %s",
			formatShape(header.shape))
	}
	c.left = header.shape[0]
	return c, c.setType(header)
}

// ended returns the error of a file that ends too early or cannot be read.
func (c *NPYColumn) ended(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return c.at.broken("was the file copied completely?", "ends too early")
	}
	return c.at.broken("was the file copied completely?", "cannot be read: %w", err)
}

// npyWholes decode whole numbers and truth values, by the type code without its byte order.
var npyWholes = map[string]func(o binary.ByteOrder, raw []byte) int64{
	"i1": func(_ binary.ByteOrder, raw []byte) int64 { return int64(int8(raw[0])) },
	"u1": func(_ binary.ByteOrder, raw []byte) int64 { return int64(raw[0]) },
	"b1": func(_ binary.ByteOrder, raw []byte) int64 { return int64(raw[0]) },
	"i2": func(o binary.ByteOrder, raw []byte) int64 { return int64(int16(o.Uint16(raw))) },
	"u2": func(o binary.ByteOrder, raw []byte) int64 { return int64(o.Uint16(raw)) },
	"i4": func(o binary.ByteOrder, raw []byte) int64 { return int64(int32(o.Uint32(raw))) },
	"u4": func(o binary.ByteOrder, raw []byte) int64 { return int64(o.Uint32(raw)) },
	"i8": func(o binary.ByteOrder, raw []byte) int64 { return int64(o.Uint64(raw)) },
}

// maxTextCell is the most characters of one text in a column of names. Our choice, so that no
// header can ask for much memory.
const maxTextCell = 1 << 16

// setType chooses how values are decoded.
func (c *NPYColumn) setType(h npyHeader) error {
	kind, order := h.descr[1:], h.order
	if order == nil && h.descr[0] == '|' { // single bytes have no order
		order = binary.LittleEndian
	}
	width, err := strconv.Atoi(kind[1:])
	if order == nil || err != nil {
		return c.at.unsupported("save numbers or text", "has type %q", h.descr)
	}
	if float, ok := npyFloats[kind]; ok {
		c.raw = make([]byte, float.bytes)
		c.number = func(raw []byte) float64 { return float.decode(order, raw) }
		return nil
	}
	if whole, ok := npyWholes[kind]; ok {
		c.raw = make([]byte, width)
		c.number = func(raw []byte) float64 { return float64(whole(order, raw)) }
		return nil
	}
	unit := 4 // bytes of a character: UCS-4 in type U, one byte in type S
	if kind[0] == 'S' {
		unit = 1
	}
	if kind[0] != 'U' && kind[0] != 'S' || width < 1 || width > maxTextCell {
		return c.at.unsupported("save numbers or text", "has type %q", h.descr)
	}
	c.raw = make([]byte, unit*width)
	c.decode = func(raw []byte) string {
		if unit == 1 {
			return strings.TrimRight(string(raw), "\x00")
		}
		var b strings.Builder
		for ; len(raw) > 0; raw = raw[4:] {
			if r := order.Uint32(raw); r != 0 { // zeros fill up shorter texts
				b.WriteRune(rune(r))
			}
		}
		return b.String()
	}
	return nil
}

// Next moves to the next value. Behind the last one it returns [io.EOF], and in a file that ends
// too early [ErrFormat].
func (c *NPYColumn) Next() error {
	if c.left == 0 {
		return io.EOF
	}
	c.left--
	if _, err := io.ReadFull(c.source, c.raw); err != nil {
		return c.ended(err)
	}
	return nil
}

// Number returns the present value. It reports false in a column of text.
func (c *NPYColumn) Number() (float64, bool) {
	if c.number == nil {
		return 0, false
	}
	return c.number(c.raw), true
}

// Text returns the present value as text; a number has as many digits as it needs to be exact.
func (c *NPYColumn) Text() string {
	if c.from == nil || !bytes.Equal(c.from, c.raw) {
		c.from = append(c.from[:0], c.raw...)
		if v, ok := c.Number(); ok {
			c.text = strconv.FormatFloat(v, 'f', -1, 64)
		} else {
			c.text = c.decode(c.raw)
		}
	}
	return c.text
}
