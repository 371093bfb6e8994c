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

// draft is what will take the place of a path, beside it and locked.
type draft struct {
	path string
	lock *lock
}

// draftPrefix begins the names of all drafts of a path, and of what was set aside.
func draftPrefix(path string) string { return "." + filepath.Base(path) + ".kerf-" }

// asideMark follows the prefix in names of folders that were set aside.
const asideMark = "former-"

// beside is a name beside a path that nothing has, as good as certainly.
func beside(path, mark string) string {
	return filepath.Join(filepath.Dir(path),
		fmt.Sprintf("%s%s%016x", draftPrefix(path), mark, rand.Uint64()))
}

// newDraft makes a draft with create, and removes what stopped programs left.
func newDraft(path string, create func(name string) error) (*draft, error) {
	removeStale(path)
	// Between creation and lock another program may take the draft for a stale
	// one and remove it; then there is a next one.
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
		if attempt == 100 {
			return nil, &fs.PathError{Op: "lock", Path: name, Err: errLocked}
		}
	}
}

// remove removes the draft, or what was exchanged for it, if it is still there.
func (d *draft) remove() {
	os.RemoveAll(d.path)
	d.lock.release()
}

// removeStale removes the drafts of a path that no living program holds, and
// former folders, if something stands in their place.
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
