package whole

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// ErrNotRegular reports a path that leads to a folder, a device or a pipe.
var ErrNotRegular = errors.New("it is no regular file")

// OpenRegular opens a regular file, or a link to one, and returns its size in bytes. For anything
// else, which may have no end, the error is [ErrNotRegular].
func OpenRegular(path string) (*os.File, int64, error) {
	info, err := os.Stat(path) // before opening: that can wait for ever on a named pipe
	if err != nil {
		return nil, 0, err
	}
	if !info.Mode().IsRegular() {
		return nil, 0, ErrNotRegular
	}
	file, err := os.Open(path)
	return file, info.Size(), err
}

// ReadRegular reads a regular file of no more than limit bytes. Errors are those of [OpenRegular]
// and [Read].
func ReadRegular(path string, limit int64) ([]byte, error) {
	file, _, err := OpenRegular(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return Read(file, limit)
}

// Read reads r to its end. More than limit bytes are an error.
func Read(r io.Reader, limit int64) ([]byte, error) {
	content, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err == nil && int64(len(content)) > limit {
		return nil, fmt.Errorf("it has more than the %d bytes allowed", limit)
	}
	return content, err
}
