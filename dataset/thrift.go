package dataset

import (
	"encoding/binary"
	"errors"
)

// thriftWalk walks through one structure in Thrift's compact protocol, in which the metadata of a
// Parquet file are written. It refuses every size that is larger than the bytes behind it, because
// the Parquet library makes room for a size before it reads on. Source: Apache Thrift, "Thrift
// compact protocol encoding".
type thriftWalk struct {
	rest   []byte
	path   []int16                     // numbers of the fields around the present place
	begin  func(path []int16)          // called at the start of every structure; may be nil
	number func(path []int16, v int64) // called for every whole number or truth value; may be nil
	left   int                         // structures that may still come
}

var errThrift = errors.New("the metadata are damaged")

// deepestThrift is the most levels of structures. Our choice, far above the six levels of Parquet's
// metadata (parquet.thrift of the Parquet format).
const deepestThrift = 16

// Numbers of the types in the compact protocol.
const (
	thriftTrue   = 1
	thriftFalse  = 2
	thriftByte   = 3
	thriftI64    = 6 // 4 and 5 are shorter whole numbers, encoded alike
	thriftDouble = 7
	thriftBinary = 8
	thriftList   = 9
	thriftSet    = 10
	thriftMap    = 11
	thriftStruct = 12
	thriftUUID   = 16 // bytes that a value of type 13 takes
)

// structure walks through one structure, field by field up to its stop field.
func (w *thriftWalk) structure() error {
	if w.left--; w.left < 0 || len(w.path) > deepestThrift {
		return errThrift
	}
	if w.begin != nil {
		w.begin(w.path)
	}
	field := int16(0)
	for {
		head, err := w.byte()
		if err != nil || head&0x0f == 0 {
			return err
		}
		if delta := int16(head >> 4); delta != 0 {
			field += delta
		} else {
			v, err := w.zigzag()
			if err != nil {
				return err
			}
			field = int16(v)
		}
		w.path = append(w.path, field)
		if err := w.value(head&0x0f, true); err != nil {
			return err
		}
		w.path = w.path[:len(w.path)-1]
	}
}

// value walks through one value. A truth value that is a field is part of its type and takes no
// byte.
func (w *thriftWalk) value(kind byte, isField bool) error {
	switch {
	case kind == thriftTrue || kind == thriftFalse:
		if isField {
			w.report(int64(thriftFalse - kind))
			return nil
		}
		return w.skip(1)
	case kind == thriftByte:
		return w.skip(1)
	case kind <= thriftI64:
		v, err := w.zigzag()
		w.report(v)
		return err
	case kind == thriftDouble:
		return w.skip(8)
	case kind == thriftBinary:
		n, err := w.size()
		if err != nil {
			return err
		}
		return w.skip(n)
	case kind == thriftList || kind == thriftSet:
		return w.list()
	case kind == thriftMap:
		return w.pairs()
	case kind == thriftStruct:
		return w.structure()
	}
	return w.skip(thriftUUID)
}

// list walks through a list or set: its size and type, and then its elements.
func (w *thriftWalk) list() error {
	head, err := w.byte()
	if err != nil {
		return err
	}
	n := int(head >> 4)
	if n == 15 { // the half byte is full, and the size follows
		if n, err = w.size(); err != nil {
			return err
		}
	}
	for range n {
		if err := w.value(head&0x0f, false); err != nil {
			return err
		}
	}
	return nil
}

// pairs walks through a map: its size and types, and then keys and values in turn.
func (w *thriftWalk) pairs() error {
	n, err := w.size()
	if err != nil || n == 0 {
		return err
	}
	kinds, err := w.byte()
	if err != nil {
		return err
	}
	for range n {
		for _, kind := range []byte{kinds >> 4, kinds & 0x0f} {
			if err := w.value(kind, false); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *thriftWalk) report(v int64) {
	if w.number != nil {
		w.number(w.path, v)
	}
}

func (w *thriftWalk) byte() (byte, error) {
	if len(w.rest) == 0 {
		return 0, errThrift
	}
	b := w.rest[0]
	w.rest = w.rest[1:]
	return b, nil
}

func (w *thriftWalk) skip(n int) error {
	if n > len(w.rest) {
		return errThrift
	}
	w.rest = w.rest[n:]
	return nil
}

// zigzag reads a whole number of variable length, whose sign is in the lowest bit.
func (w *thriftWalk) zigzag() (int64, error) {
	v, n := binary.Uvarint(w.rest)
	if n <= 0 {
		return 0, errThrift
	}
	w.rest = w.rest[n:]
	return int64(v>>1) ^ -int64(v&1), nil
}

// size reads the number of bytes or elements that follow. It refuses more than there are bytes
// left, since no element is smaller than a byte.
func (w *thriftWalk) size() (int, error) {
	v, n := binary.Uvarint(w.rest)
	if n <= 0 || v > uint64(len(w.rest)-n) {
		return 0, errThrift
	}
	w.rest = w.rest[n:]
	return int(v), nil
}
