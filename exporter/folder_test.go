package exporter

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/exporter/report"
	"kerf/fault"
)

// handoffOf returns a handoff of two files with a content, and its manifest.
func handoffOf(content string) map[string][]byte {
	files := map[string][]byte{"a.c": []byte(content), "a.h": []byte(content)}
	manifest, err := newManifest(&report.Signoff{Name: "a", Verdict: "fits"}, nil, nil, files)
	if err != nil {
		panic(err)
	}
	files[ManifestFile] = manifest
	return files
}

// listing names what stands in a folder, with blanks between.
func listing(t *testing.T, dir string) string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

// everything names what stands in a folder, at any depth.
func everything(t *testing.T, dir string) string {
	t.Helper()
	var names []string
	err := filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		names = append(names, path+" "+e.Type().String())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(names, "\n")
}

func TestWriteFolder(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "deep", "handoff")
	for _, content := range []string{"first", "second"} {
		if err := WriteFolder(dir, handoffOf(content)); err != nil {
			t.Fatal(err)
		}
		if got, _ := os.ReadFile(filepath.Join(dir, "a.c")); string(got) != content {
			t.Errorf("a.c holds %q, want %q", got, content)
		}
	}
	if got := listing(t, dir); got != "a.c a.h manifest.json" {
		t.Errorf("the folder holds %s", got)
	}
	if got := listing(t, filepath.Dir(dir)); got != "handoff" {
		t.Errorf("beside the folder stands %s", got)
	}
}

func TestWriteFolderLosesNothing(t *testing.T) {
	for name, prepare := range map[string]func(dir string) error{
		"a file of the user's": func(dir string) error {
			return os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("mine"), 0o644)
		},
		"a file of the user's in a handoff": func(dir string) error {
			if err := WriteFolder(dir, handoffOf("old")); err != nil {
				return err
			}
			return os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("mine"), 0o644)
		},
		"a folder of the user's with the name of a file of a handoff": func(dir string) error {
			if err := WriteFolder(dir, handoffOf("old")); err != nil {
				return err
			}
			file := filepath.Join(dir, "a.c")
			return errors.Join(os.Remove(file), os.Mkdir(file, 0o755),
				os.WriteFile(filepath.Join(file, "mine"), nil, 0o644))
		},
		"a link to nowhere": func(dir string) error {
			return errors.Join(os.Remove(dir), os.Symlink("nowhere", dir))
		},
		"another manifest.json": func(dir string) error {
			return os.WriteFile(filepath.Join(dir, ManifestFile), []byte("[1, 2]"), 0o644)
		},
		"a manifest.json of a web page": func(dir string) error {
			return os.WriteFile(filepath.Join(dir, ManifestFile),
				[]byte(`{"name": "shop", "start_url": "."}`), 0o644)
		},
	} {
		t.Run(name, func(t *testing.T) {
			parent := t.TempDir()
			dir := filepath.Join(parent, "handoff")
			if err := os.Mkdir(dir, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := prepare(dir); err != nil {
				t.Fatal(err)
			}
			before := everything(t, parent)
			var refused *fault.Error
			if err := WriteFolder(dir, handoffOf("new")); !errors.As(err, &refused) ||
				refused.Hint == "" {
				t.Errorf("the folder was replaced, or no hint given: %v", err)
			}
			if after := everything(t, parent); after != before {
				t.Errorf("the folder held %s, now %s", before, after)
			}
			if got := listing(t, parent); got != "handoff" {
				t.Errorf("beside the folder stands %s", got)
			}
		})
	}
}

func TestWriteFolderIntoAFile(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(dir, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := WriteFolder(dir, handoffOf("new")); err == nil {
		t.Error("a file was replaced by a folder")
	}
	if got, _ := os.ReadFile(dir); string(got) != "mine" {
		t.Errorf("the file now holds %q", got)
	}
}
