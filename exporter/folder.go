package exporter

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"kerf/fault"
	"kerf/whole"
)

// WriteFolder writes a handoff so that the folder appears whole or not at all (package whole). An
// existing folder is replaced only if it is empty, or a handoff that holds nothing else, so that no
// file of the user's is lost. An error says why the folder cannot be written.
func WriteFolder(dir string, files map[string][]byte) error {
	err := whole.Folder(dir, files, func(found string) error { return replaceable(found, dir) })
	var refused *fault.Error
	if err == nil || errors.As(err, &refused) {
		return err
	}
	return folderError(dir, err)
}

// replaceable returns why found, a path that stands or stood at dir, must not be replaced: nil
// where there is nothing, an empty folder, or a handoff and nothing else.
func replaceable(found, dir string) error {
	entries, err := os.ReadDir(found)
	if errors.Is(err, fs.ErrNotExist) {
		if _, err := os.Lstat(found); err == nil {
			return &fault.Error{File: dir, Msg: "this is a link to nowhere", Hint: "make the " +
				"folder that it leads to, remove the link, or choose another folder with --out"}
		}
		return nil
	}
	if err != nil {
		return folderError(dir, err)
	}
	known, err := handoffFiles(found, dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !known[e.Name()] || !e.Type().IsRegular() {
			return &fault.Error{File: dir, Msg: fmt.Sprintf("the folder holds %s, which is no "+
				"part of a handoff", e.Name()), Hint: "choose another folder with --out, or move " +
				"the file away"}
		}
	}
	return nil
}

func folderError(dir string, err error) error {
	return fault.OfFile(dir, "the folder cannot be written", err,
		"choose another folder with --out")
}
