package whole

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// fileMode and folderMode are the permissions of new files and folders, before the user's umask:
// everybody reads, the owner writes.
const (
	fileMode   fs.FileMode = 0o644
	folderMode fs.FileMode = 0o755
)

// File writes a file, and replaces a file that stands at path. Errors are those of the file system.
func File(path string, content []byte) error { return file(path, content, os.Rename) }

// NewFile writes a file. If something stands at path, the error is [fs.ErrExist].
func NewFile(path string, content []byte) error { return file(path, content, renameToFree) }

// file writes content to a draft, which place then renames to path.
func file(path string, content []byte, place func(draft, path string) error) error {
	if resolved, err := filepath.EvalSymlinks(path); err == nil {
		path = resolved // a link stays a link, and the file that it leads to is written
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

// writeSynced writes a file and brings it to the disk.
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

// syncFolder brings the names in a folder to the disk. It ignores errors: not every file system can
// do it, and the files are written all the same.
func syncFolder(dir string) {
	if f, err := os.Open(dir); err == nil {
		f.Sync()
		f.Close()
	}
}

// renameToFree renames a file; if something stands at path, the error is [fs.ErrExist].
func renameToFree(draft, path string) error {
	err := os.Link(draft, path) // fails where something stands at path, unlike a rename
	switch {
	case err == nil:
		return os.Remove(draft)
	case errors.Is(err, fs.ErrExist):
		return err
	}
	// The file system has no links. Another program may still get in between.
	if _, err := os.Lstat(path); err == nil {
		return &fs.PathError{Op: "rename", Path: path, Err: fs.ErrExist}
	}
	return os.Rename(draft, path)
}
