package exporter

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
)

// FolderError says why a folder cannot be written.
type FolderError struct {
	Dir  string
	Msg  string
	Hint string
}

func (e *FolderError) Error() string { return e.Dir + ": " + e.Msg }

// HintText returns the advice that goes with the error.
func (e *FolderError) HintText() string { return e.Hint }

// WriteFolder writes a handoff so that the folder appears whole or not at all:
// all files go into a new folder beside it, which then takes its place. An
// existing folder is replaced only if it is empty or a handoff and holds
// nothing else, so that no file of the user's is lost.
func WriteFolder(dir string, files map[string][]byte) error {
	if err := replaceable(dir); err != nil {
		return err
	}
	parent := filepath.Dir(filepath.Clean(dir))
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return folderError(dir, err)
	}
	fresh, err := os.MkdirTemp(parent, ".kerf-")
	if err != nil {
		return folderError(dir, err)
	}
	defer os.RemoveAll(fresh)
	if err := os.Chmod(fresh, 0o755); err != nil {
		return folderError(dir, err)
	}
	for _, name := range sortedNames(files) {
		if err := os.WriteFile(filepath.Join(fresh, name), files[name], 0o644); err != nil {
			return folderError(dir, err)
		}
	}
	return swap(fresh, dir)
}

// swap puts fresh in the place of dir and removes what stood there.
func swap(fresh, dir string) error {
	old := fresh + "-old"
	err := os.Rename(dir, old)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		old = ""
	case err != nil:
		return folderError(dir, err)
	}
	if err := os.Rename(fresh, dir); err != nil {
		if old != "" {
			os.Rename(old, dir) // put back what was there; the first error is the one to report
		}
		return folderError(dir, err)
	}
	if old != "" {
		return os.RemoveAll(old)
	}
	return nil
}

// replaceable tells whether dir is free, empty, or a handoff and nothing else.
func replaceable(dir string) error {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return folderError(dir, err)
	}
	known, err := handoffFiles(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !known[e.Name()] {
			return &FolderError{dir, fmt.Sprintf("the folder holds %s, which is no part of a handoff", e.Name()), "choose another folder with --out, or move the file away"}
		}
	}
	return nil
}

func folderError(dir string, err error) error {
	reason := err
	var pathError *fs.PathError
	var linkError *os.LinkError
	switch {
	case errors.As(err, &pathError):
		reason = pathError.Err
	case errors.As(err, &linkError):
		reason = linkError.Err
	}
	return &FolderError{dir, "the folder cannot be written: " + reason.Error(), "choose another folder with --out"}
}

func sortedNames(files map[string][]byte) []string {
	names := make([]string, 0, len(files))
	for name := range files {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}
