package budget

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"kerf/fault"
	"kerf/whole"
)

// open opens a file of the job, which must be a regular one: others may have no end.
func (in *Inputs) open(name string, key ...any) (*os.File, int64, error) {
	file, size, err := whole.OpenRegular(in.Job.Path(name))
	if err != nil {
		return nil, 0, in.unreadable(name, err, key...)
	}
	return file, size, nil
}

// read reads a whole file of the job and notes its hash.
func (in loader) read(role Role, name string, key ...any) ([]byte, error) {
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
	return in.Job.at("file names are relative to the folder of the job file",
		fmt.Sprintf("%s cannot be read: %s", name, fault.Reason(err)), key...).From(err)
}

// note keeps the SHA-256 of a file that was read.
func (in loader) note(role Role, name string, sum []byte) {
	shown := name
	if filepath.IsAbs(name) {
		shown = filepath.Base(name)
	}
	in.Files = append(in.Files, InputFile{role, filepath.ToSlash(shown), hex.EncodeToString(sum)})
}
