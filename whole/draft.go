package whole

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
)

// draft is a file or folder that will take the place of a path. It stands beside the path.
type draft struct {
	path string // of the draft
	lock *lock  // held until the draft is removed; nil where there are no locks
}

// draftPrefix returns the beginning of the names of all drafts of a path, and of the folders that
// were set aside for it.
func draftPrefix(path string) string { return "." + filepath.Base(path) + ".kerf-" }

// asideMark follows the prefix in the names of folders that were set aside.
const asideMark = "former-"

// beside returns a path beside path whose name is free with near certainty: 64 bits are drawn.
func beside(path, mark string) string {
	return filepath.Join(filepath.Dir(path),
		fmt.Sprintf("%s%s%016x", draftPrefix(path), mark, rand.Uint64()))
}

// moreDrafts is how often newDraft tries again when another program has removed its draft. Our
// choice.
const moreDrafts = 100

// newDraft makes a draft of path with create and locks it. It first removes the drafts of stopped
// programs.
func newDraft(path string, create func(name string) error) (*draft, error) {
	removeStale(path)
	// Between creation and lock another program may take the draft for one of a stopped program
	// and remove it. Then newDraft makes another one.
	for attempt := 0; ; attempt++ {
		name := beside(path, "")
		if err := create(name); err != nil {
			return nil, err
		}
		l, err := lockPath(name)
		if err == nil || errors.Is(err, errNoLocks) {
			if _, gone := os.Lstat(name); gone == nil {
				return &draft{name, l}, nil
			}
		}
		l.release()
		if attempt == moreDrafts {
			return nil, &fs.PathError{Op: "lock", Path: name, Err: errLocked}
		}
	}
}

// remove removes the draft, or the folder that was exchanged for it, if either is there.
func (d *draft) remove() {
	os.RemoveAll(d.path)
	d.lock.release()
}

// removeStale removes the drafts of a path that no living program holds, and the folders that were
// set aside, unless nothing stands at path.
func removeStale(path string) {
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return
	}
	for _, e := range entries {
		rest, ours := strings.CutPrefix(e.Name(), draftPrefix(path))
		if !ours {
			continue
		}
		name := filepath.Join(filepath.Dir(path), e.Name())
		if strings.HasPrefix(rest, asideMark) {
			if _, err := os.Lstat(path); err == nil {
				os.RemoveAll(name)
			}
			continue
		}
		if l, err := lockPath(name); err == nil {
			os.RemoveAll(name)
			l.release()
		}
	}
}
