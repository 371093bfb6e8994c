package whole

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// Regular files and links to them are read up to the limit; devices and folders are not opened.
func TestReadRegular(t *testing.T) {
	dir := t.TempDir()
	path := func(name string) string { return filepath.Join(dir, name) }
	if err := os.WriteFile(path("file"), []byte("four"), 0o644); err != nil {
		t.Fatal(err)
	}
	for name, to := range map[string]string{"link": path("file"), "device": os.DevNull,
		"folder": dir} {
		if err := os.Symlink(to, path(name)); err != nil {
			t.Fatal(err)
		}
	}
	for name, c := range map[string]struct {
		limit   int64
		refused bool
		want    error
	}{
		"file":   {4, false, nil},
		"link":   {3, true, nil},
		"device": {4, true, ErrNotRegular},
		"folder": {4, true, ErrNotRegular},
		"none":   {4, true, os.ErrNotExist},
	} {
		content, err := ReadRegular(path(name), c.limit)
		if (err != nil) != c.refused || c.want != nil && !errors.Is(err, c.want) || !c.refused &&
			string(content) != "four" {
			t.Errorf("%s: %q, error %v", name, content, err)
		}
	}
}
