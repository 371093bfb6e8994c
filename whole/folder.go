package whole

import (
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// errNoExchange is the error of exchange where two paths cannot be swapped in one step.
var errNoExchange = errors.New("two folders cannot be exchanged in one step here")

// Folder writes a folder of files, given as name to content. It replaces a folder that stands at
// dir only if mayReplace returns no error. Folder calls mayReplace before it writes anything, and
// again with the folder that it has replaced before it removes that one: another program may have
// written in between. An error of mayReplace is returned, and the folder at dir stays; the other
// errors are those of the file system.
func Folder(dir string, files map[string][]byte, mayReplace func(dir string) error) error {
	dir = filepath.Clean(dir)
	if resolved, err := filepath.EvalSymlinks(dir); err == nil {
		dir = resolved // a link stays a link, and the folder that it leads to is replaced
	}
	if err := Repair(dir); err != nil {
		return err
	}
	if err := mayReplace(dir); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(dir), folderMode); err != nil {
		return err
	}
	d, err := newDraft(dir, func(name string) error { return os.Mkdir(name, folderMode) })
	if err != nil {
		return err
	}
	defer d.remove()
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if err := writeSynced(filepath.Join(d.path, name), files[name]); err != nil {
			return err
		}
	}
	syncFolder(d.path)
	if err := place(d.path, dir, mayReplace, exchange); err != nil {
		return err
	}
	syncFolder(filepath.Dir(dir))
	return nil
}

// placeAttempts bounds how often another program may write to dir between two steps of place. Our
// choice.
const placeAttempts = 100

// place puts the folder fresh in the place of dir. The folder that stood at dir is afterwards at
// fresh, or removed.
func place(fresh, dir string, mayReplace func(string) error,
	exchange func(a, b string) error) (err error) {
	for range placeAttempts {
		switch err = exchange(fresh, dir); {
		case err == nil:
			if err = mayReplace(fresh); err != nil {
				return errors.Join(err, exchange(fresh, dir)) // the replaced folder goes back
			}
			return nil
		case errors.Is(err, errNoExchange):
			err = replaceByRenames(fresh, dir, mayReplace)
		case errors.Is(err, fs.ErrNotExist):
			err = os.Rename(fresh, dir) // nothing stands at dir, or an empty folder by now
		default:
			return err
		}
		if err == nil || !isTaken(err) {
			return err
		}
	}
	return err
}

// isTaken reports whether err is that of a rename to a path where another program has put a folder
// with files.
func isTaken(err error) bool {
	return errors.Is(err, fs.ErrExist) || strings.Contains(err.Error(), "not empty")
}

// replaceByRenames sets the folder at dir aside, puts fresh in its place and removes the folder
// that was set aside. Between the two renames nothing stands at dir.
func replaceByRenames(fresh, dir string, mayReplace func(string) error) error {
	aside := beside(dir, asideMark)
	err := os.Rename(dir, aside)
	if errors.Is(err, fs.ErrNotExist) {
		return os.Rename(fresh, dir)
	}
	if err != nil {
		return err
	}
	if err = mayReplace(aside); err == nil {
		err = os.Rename(fresh, dir)
	}
	if err != nil && !isTaken(err) {
		return errors.Join(err, os.Rename(aside, dir))
	}
	os.RemoveAll(aside)
	return err
}

// Aside returns the path of the folder that stood at dir, if a program was stopped while it
// replaced it and nothing stands at dir now. Else the path is empty.
func Aside(dir string) string {
	dir = filepath.Clean(dir)
	if _, err := os.Lstat(dir); err == nil {
		return ""
	}
	entries, err := os.ReadDir(filepath.Dir(dir))
	if err != nil {
		return ""
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), draftPrefix(dir)+asideMark) {
			return filepath.Join(filepath.Dir(dir), e.Name())
		}
	}
	return ""
}

// Repair puts back the folder that stood at dir, if a program was stopped while it replaced it.
// Without such a folder it does nothing. Errors are those of the file system.
func Repair(dir string) error {
	aside := Aside(dir)
	if aside == "" {
		return nil
	}
	if err := os.Rename(aside, filepath.Clean(dir)); err != nil && !isTaken(err) {
		return err
	}
	return nil
}
