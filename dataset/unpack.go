package dataset

import (
	"errors"
	"fmt"
	"io"

	"kerf/model"
)

// allowance is what a packed file may still unpack to, in bytes.
type allowance struct {
	file string
	size int64 // of the file
	left int64
}

func newAllowance(file string, size int64) *allowance {
	return &allowance{file, size, model.MaxUnpacked(size)}
}

// take counts bytes that the file claims or gives.
func (a *allowance) take(bytes int64) error {
	if bytes < 0 || bytes > a.left {
		return &InputError{File: a.file, Msg: fmt.Sprintf("unpacks to more than %d bytes, which "+
			"no recording of %d packed ones does", model.MaxUnpacked(a.size), a.size),
			Hint: "is this a recording? store it as plain CSV if it is"}
	}
	a.left -= bytes
	return nil
}

// counted takes what is read off an allowance.
type counted struct {
	io.Reader
	allowance *allowance
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	if taken := c.allowance.take(int64(n)); taken != nil {
		return 0, taken
	}
	return n, err
}

// unpacking says which file is damaged.
type unpacking struct {
	io.Reader
	file string
}

func (u *unpacking) Read(p []byte) (int, error) {
	n, err := u.Reader.Read(p)
	if err != nil && !errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = unpackError(u.file, err)
	}
	return n, err
}

func unpackError(file string, err error) error {
	return &InputError{File: file, Msg: fmt.Sprintf("cannot be unpacked: %v", err),
		Hint: "was the file copied completely? pack it with gzip"}
}

// longestRecord bounds a line of a CSV file, or one cell in quotes that goes on over lines, in
// bytes: some ten thousand columns.
const longestRecord = 1 << 20

var errLongRecord = errors.New("line too long")

// recordLimit ends a line that has no end.
type recordLimit struct {
	io.Reader
	left int // bytes that may come until the next record begins
}

func (l *recordLimit) begin() { l.left = longestRecord }

func (l *recordLimit) Read(p []byte) (int, error) {
	if l.left <= 0 {
		return 0, errLongRecord
	}
	n, err := l.Reader.Read(p)
	l.left -= n
	return n, err
}
