//go:build unix

package whole

import (
	"errors"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"
)

// A named pipe is refused at once, without waiting for somebody who writes to it.
func TestNamedPipesAreNotOpened(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "pipe")
	if err := unix.Mkfifo(pipe, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, _, err := OpenRegular(pipe); !errors.Is(err, ErrNotRegular) {
		t.Errorf("got %v", err)
	}
}
