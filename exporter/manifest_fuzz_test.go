package exporter

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"kerf/fault"
	"kerf/testdata/hardinput"
)

// A new handoff of some kilobytes is written beside the old one.
var manifestLimits = hardinput.Limits{PerByte: 200, Spare: 1 << 20}

// FuzzManifest puts a manifest and a file of the user's into a folder, and a handoff over it. The
// file is lost only if the manifest is that of a handoff and names it.
func FuzzManifest(f *testing.F) {
	f.Add(handoffOf("old")[ManifestFile])
	f.Add([]byte(`{"job":"a","outputs":[{"file":"notes.txt"}]}`))
	f.Add([]byte(
		`{"job":"a","outputs":[{"file":"../notes.txt"},{"file":"/notes.txt"},{"file":""}]}`))
	f.Add([]byte(`{"name":"shop","outputs":[{"file":"notes.txt"}]}`))
	f.Fuzz(func(t *testing.T, manifest []byte) {
		dir := filepath.Join(t.TempDir(), "handoff")
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		for name, content := range map[string][]byte{ManifestFile: manifest,
			"notes.txt": []byte("mine")} {
			if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		var err error
		manifestLimits.Check(t, len(manifest), dir, func() error {
			err = WriteFolder(dir, handoffOf("new"))
			return err
		})
		if kept, readErr := os.ReadFile(filepath.Join(dir, "notes.txt")); readErr == nil &&
			string(kept) == "mine" {
			var refused *fault.Error
			if !errors.As(err, &refused) || refused.Hint == "" {
				t.Fatalf("the file is there, and the error is %#v", err)
			}
			return
		}
		var m Manifest
		if json.Unmarshal(manifest, &m) != nil || m.Job == "" {
			t.Fatalf("%q took a file of the user's", manifest)
		}
		named := false
		for _, o := range m.Outputs {
			named = named || o.File == "notes.txt"
		}
		if !named {
			t.Fatalf("%q does not name the file that is lost", manifest)
		}
	})
}
