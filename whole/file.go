package whole

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// fileMode and folderMode are what the umask of the user takes its part of.
const (
	fileMode   fs.FileMode = 0o644
	folderMode fs.FileMode = 0o755
)

// File writes a file, over one that is there already.
func File(path string, content []byte) error { return file(path, content, os.Rename) }

// NewFile writes a file where there is none; else the error is [fs.ErrExist].
func NewFile(path string, content []byte) error { return file(path, content, renameToFree) }

func file(path string, content []byte, place func(draft, path string) error) error {
	if resolved, err := filepath.EvalSymlinks(path); err == nil {
		path = resolved // a link stays one
	}
	d, err := newDraft(path, func(name string) error {
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, fileMode)
		if err != nil {
			return err
		}
		return f.Close()
	})
	if err != nil {
		return err
	}
	defer d.remove()
	if err := writeSynced(d.path, content); err != nil {
		return err
	}
	if err := place(d.path, path); err != nil {
		return err
	}
	syncFolder(filepath.Dir(path))
	return nil
}

// writeSynced fills a file and brings it to the disk.
func writeSynced(path string, content []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, fileMode)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// syncFolder brings names in a folder to the disk. Not every file system has
// that, and what was written is there all the same: an error says nothing.
func syncFolder(dir string) {
	if f, err := os.Open(dir); err == nil {
		f.Sync()
		f.Close()
	}
}

// renameToFree renames a file to a name that nothing has.
func renameToFree(draft, path string) error {
	err := os.Link(draft, path) // fails where the name is taken, unlike a rename
	switch {
	case err == nil:
		return os.Remove(draft)
	case errors.Is(err, fs.ErrExist):
		return err
	}
	// A file system without links.
	if _, err := os.Lstat(path); err == nil {
		return &fs.PathError{Op: "rename", Path: path, Err: fs.ErrExist}
	}
	return os.Rename(draft, path)
}
