package dataset

import (
	"errors"
	"fmt"
	"io"

	"kerf/fault"
	"kerf/model"
)

// allowance counts down the bytes that a packed file may unpack to.
type allowance struct {
	file string
	size int64 // of the file
	left int64
}

func newAllowance(file string, size int64) *allowance {
	return &allowance{file, size, model.MaxUnpacked(size)}
}

// take subtracts bytes that the file claims or gives, and returns an error if they are too many.
func (a *allowance) take(bytes int64) error {
	if bytes < 0 || bytes > a.left {
		return &fault.Error{Kind: ErrInput, File: a.file,
			Msg: fmt.Sprintf("unpacks to more than %d bytes, which no recording of %d packed ones "+
				"does", model.MaxUnpacked(a.size), a.size),
			Hint: "is this a recording? store it as plain CSV if it is"}
	}
	a.left -= bytes
	return nil
}

// counted is a reader that takes its bytes off an allowance.
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

// unpacking is a reader whose errors name the damaged file.
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
	return &fault.Error{Kind: ErrInput, File: file,
		Msg:  fmt.Sprintf("cannot be unpacked: %v", err),
		Hint: "was the file copied completely? pack it with gzip", Cause: err}
}

// longestRecord is the most bytes of a line of a CSV file, or of a cell in quotes that goes on over
// lines. Our choice: room for some ten thousand columns.
const longestRecord = 1 << 20

var errLongRecord = errors.New("line too long")

// recordLimit is a reader that returns an error within a line that is too long.
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
