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

var errNoExchange = errors.New("two folders cannot be exchanged in one step here")

// Folder writes a folder of files: name to content. A folder that is there is
// replaced if mayReplace agrees, which is asked before anything is written and
// once more, of what was really replaced, before that is removed. An error of
// mayReplace is handed on.
func Folder(dir string, files map[string][]byte, mayReplace func(dir string) error) error {
	dir = filepath.Clean(dir)
	if resolved, err := filepath.EvalSymlinks(dir); err == nil {
		dir = resolved // a link stays one
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

// placeAttempts bounds how often another program may get in between.
const placeAttempts = 100

// place puts fresh in the place of dir. What stood there is afterwards in the
// place of fresh, or removed.
func place(fresh, dir string, mayReplace func(string) error,
	exchange func(a, b string) error) (err error) {
	for range placeAttempts {
		switch err = exchange(fresh, dir); {
		case err == nil:
			if err = mayReplace(fresh); err != nil {
				return errors.Join(err, exchange(fresh, dir)) // what came in meanwhile goes back
			}
			return nil
		case errors.Is(err, errNoExchange):
			err = replaceByRenames(fresh, dir, mayReplace)
		case errors.Is(err, fs.ErrNotExist):
			err = os.Rename(fresh, dir) // nothing is there, or an empty folder by now
		default:
			return err
		}
		if err == nil || !taken(err) {
			return err
		}
	}
	return err
}

// taken tells that a rename found a folder with files where there was none.
func taken(err error) bool {
	return errors.Is(err, fs.ErrExist) || strings.Contains(err.Error(), "not empty")
}

// replaceByRenames sets dir aside, puts fresh in its place and removes what was
// set aside. Between the two renames there is nothing at dir.
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
	if err != nil && !taken(err) {
		return errors.Join(err, os.Rename(aside, dir))
	}
	os.RemoveAll(aside)
	return err
}

// Aside is the folder that stood at dir, if there is none now because a program
// was stopped while it replaced it; else it is empty.
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

// Repair puts back what was set aside when a program was stopped between two renames.
func Repair(dir string) error {
	aside := Aside(dir)
	if aside == "" {
		return nil
	}
	if err := os.Rename(aside, filepath.Clean(dir)); err != nil && !taken(err) {
		return err
	}
	return nil
}
