package budget

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// open opens a file of the job, which must be a regular one: others may have no end.
func (in *Inputs) open(name string, key ...any) (*os.File, int64, error) {
	file, size, err := openRegular(in.Job.Path(name))
	if err != nil {
		return nil, 0, in.unreadable(name, err, key...)
	}
	return file, size, nil
}

// openRegular opens a file that has an end, and gives its size in bytes.
func openRegular(path string) (*os.File, int64, error) {
	info, err := os.Stat(path) // before opening: that can wait for ever on a named pipe
	if err != nil {
		return nil, 0, err
	}
	if !info.Mode().IsRegular() {
		return nil, 0, errors.New("it is no regular file")
	}
	file, err := os.Open(path)
	return file, info.Size(), err
}

// read reads a whole file of the job and notes its hash.
func (in *Inputs) read(role, name string, key ...any) ([]byte, error) {
	file, _, err := in.open(name, key...)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(file)
	if err != nil {
		return nil, in.unreadable(name, err, key...)
	}
	sum := sha256.Sum256(data)
	in.note(role, name, sum[:])
	return data, nil
}

// unreadable says that a file that the job names at a path of keys cannot be read.
func (in *Inputs) unreadable(name string, err error, key ...any) error {
	reason := err
	var pathError *os.PathError
	if errors.As(err, &pathError) {
		reason = pathError.Err
	}
	return in.Job.at("file names are relative to the folder of the job file", fmt.Sprintf("%s cannot be read: %v", name, reason), key...)
}

// note keeps the SHA-256 of a file that was read.
func (in *Inputs) note(role, name string, sum []byte) {
	shown := name
	if filepath.IsAbs(name) {
		shown = filepath.Base(name)
	}
	in.Files = append(in.Files, InputFile{role, filepath.ToSlash(shown), hex.EncodeToString(sum)})
}
