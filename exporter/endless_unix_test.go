//go:build unix

package exporter

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/fault"

	"golang.org/x/sys/unix"
)

// A path that a handoff names is not read if it is a pipe or a device; a file that differs is
// found.
func TestInputsWithoutEndAreNotRead(t *testing.T) {
	dir := t.TempDir()
	if err := unix.Mkfifo(filepath.Join(dir, "pipe"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("/dev/zero", filepath.Join(dir, "endless")); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "m.npz"), []byte("other"), 0o644); err != nil {
		t.Fatal(err)
	}
	v := &Verification{manifest: &Manifest{Inputs: []budget.InputFile{{Role: "model", File: "pipe",
		SHA256: "1"},
		{Role: "model", File: "endless", SHA256: "1"},
		{Role: "model", File: "m.npz", SHA256: sha([]byte("other"))}}}}
	if !v.CheckInputs(filepath.Join(dir, "job.toml")) {
		t.Errorf("found %v", v.Checks)
	}
	v.manifest.Inputs[2].SHA256 = sha([]byte("mine"))
	if v.CheckInputs(filepath.Join(dir, "job.toml")) || len(v.Checks[0].Findings) != 1 {
		t.Errorf("found %v", v.Checks)
	}
}

// A manifest without end, or beyond the limit, is not read, and nothing takes the place of its
// folder; verify says what is wrong with it.
func TestManifestsWithoutEnd(t *testing.T) {
	for name, c := range map[string]struct {
		make func(path string) error
		want string // of WriteFolder
		odd  string // of Verify
	}{
		"pipe": {func(path string) error {
			return unix.Mkfifo(path, 0o644)
		}, "it is no regular file", "is no file of a handoff"},
		"device": {func(path string) error {
			return os.Symlink("/dev/zero", path)
		}, "it is no regular file", "is no file of a handoff"},
		"large": {func(path string) error {
			return os.WriteFile(path, bytes.Repeat([]byte("{},"), report.MaxJSONBytes/3+1), 0o644)
		},
			"it has more than the 8388608 bytes allowed", "cannot be read: it has more than the " +
				"8388608 bytes allowed"},
	} {
		dir := t.TempDir()
		if err := c.make(filepath.Join(dir, ManifestFile)); err != nil {
			t.Fatal(err)
		}
		var refused *fault.Error
		if err := WriteFolder(dir, handoffOf("new")); !errors.As(err, &refused) ||
			!strings.HasSuffix(refused.Msg, "manifest.json in it cannot be read: "+c.want) ||
			refused.Hint == "" {
			t.Errorf("%s: written over it with the error %v", name, err)
		}
		if _, odd, err := readFolder(dir); err != nil || len(odd) != 1 ||
			odd[0] != (Finding{ManifestFile, c.odd}) {
			t.Errorf("%s: found %v, error %v", name, odd, err)
		}
	}
}
