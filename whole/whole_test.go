package whole

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

func anything(string) error { return nil }

// content returns the files of a folder that all hold one word, so that a mixture shows.
func content(word string) map[string][]byte {
	files := map[string][]byte{}
	for i := range 12 {
		files[fmt.Sprintf("file%02d", i)] = []byte(strings.Repeat(word+"\n", 1000))
	}
	return files
}

// wordIn returns the word in the files of a folder; the error says what is not whole.
func wordIn(dir string) (string, error) {
	word := ""
	entries, err := os.ReadDir(dir)
	if err != nil {
		return "", err
	}
	for _, e := range entries {
		text, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return "", err
		}
		first, _, _ := strings.Cut(string(text), "\n")
		if word == "" {
			word = first
		}
		if string(text) != strings.Repeat(word+"\n", 1000) {
			return "", fmt.Errorf("%s is not all %q", e.Name(), word)
		}
	}
	if len(entries) != 12 {
		return "", fmt.Errorf("%d files", len(entries))
	}
	return word, nil
}

func names(t *testing.T, dir string) string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, e := range entries {
		all = append(all, e.Name())
	}
	return strings.Join(all, " ")
}

func noExchange(string, string) error { return errNoExchange }

func TestFolderReplaces(t *testing.T) {
	for name, swap := range map[string]func(a, b string) error{"exchange": exchange,
		"two renames": noExchange} {
		t.Run(name, func(t *testing.T) {
			parent := t.TempDir()
			dir := filepath.Join(parent, "out")
			for _, word := range []string{"first", "second", "third"} {
				fresh := filepath.Join(parent, "fresh")
				if err := os.Mkdir(fresh, 0o755); err != nil {
					t.Fatal(err)
				}
				for file, text := range content(word) {
					if err := os.WriteFile(filepath.Join(fresh, file), text, 0o644); err != nil {
						t.Fatal(err)
					}
				}
				if err := place(fresh, dir, anything, swap); err != nil {
					t.Fatal(err)
				}
				os.RemoveAll(fresh)
				if got, err := wordIn(dir); got != word || err != nil {
					t.Errorf("the folder holds %q (%v), want %q", got, err, word)
				}
			}
			if got := names(t, parent); got != "out" {
				t.Errorf("beside the folder stands %s", got)
			}
		})
	}
}

// Both ways put a folder back that mayReplace refuses after the exchange.
func TestFolderGivesBackWhatMayNotBeReplaced(t *testing.T) {
	for name, swap := range map[string]func(a, b string) error{"exchange": exchange,
		"two renames": noExchange} {
		t.Run(name, func(t *testing.T) {
			parent := t.TempDir()
			dir, fresh := filepath.Join(parent, "out"), filepath.Join(parent, "fresh")
			for _, d := range []string{dir, fresh} {
				if err := os.Mkdir(d, 0o755); err != nil {
					t.Fatal(err)
				}
			}
			if err := os.WriteFile(filepath.Join(dir, "mine"), nil, 0o644); err != nil {
				t.Fatal(err)
			}
			refused := errors.New("no")
			if err := place(fresh, dir, func(string) error {
				return refused
			}, swap); !errors.Is(err, refused) {
				t.Errorf("the error is %v", err)
			}
			if got := names(t, dir); got != "mine" {
				t.Errorf("the folder holds %q", got)
			}
		})
	}
}

// Stopped between two renames, the former folder is put back by the next writer.
func TestRepair(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "out")
	if err := Folder(dir, content("former"), anything); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(dir, beside(dir, asideMark)); err != nil {
		t.Fatal(err)
	}
	if Aside(dir) == "" {
		t.Fatal("what was set aside is not found")
	}
	refused := errors.New("no")
	if err := Folder(dir, content("next"), func(string) error {
		return refused
	}); !errors.Is(err, refused) {
		t.Fatal(err)
	}
	if got, err := wordIn(dir); got != "former" || err != nil {
		t.Errorf("the folder holds %q (%v)", got, err)
	}
	if got := names(t, parent); got != "out" {
		t.Errorf("beside the folder stands %s", got)
	}
}

// Four writers of one folder do not mix: afterwards it holds the files of one of them.
func TestManyWriters(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "out")
	if err := Folder(dir, content("writer0"), anything); err != nil {
		t.Fatal(err)
	}
	var group sync.WaitGroup
	for w := range 4 {
		group.Go(func() {
			for range 10 {
				if err := Folder(dir, content(fmt.Sprint("writer", w)), anything); err != nil {
					t.Error(err)
				}
			}
		})
	}
	group.Wait()
	if _, err := wordIn(dir); err != nil {
		t.Error(err)
	}
	if got := names(t, parent); got != "out" {
		t.Errorf("beside the folder stands %s", got)
	}
}

// The next writer removes a draft that a stopped program left, and keeps one that a living program
// holds.
func TestStaleDraftsAreRemoved(t *testing.T) {
	parent := t.TempDir()
	path := filepath.Join(parent, "out")
	for _, name := range []string{beside(path, ""), beside(path, "")} {
		if err := os.Mkdir(name, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	held, err := newDraft(filepath.Join(parent, "other"), func(name string) error {
		return os.Mkdir(name, 0o755)
	})
	if err != nil {
		t.Fatal(err)
	}
	living, err := newDraft(path, func(name string) error { return os.Mkdir(name, 0o755) })
	if err != nil {
		t.Fatal(err)
	}
	if err := Folder(path, content("word"), anything); err != nil {
		t.Fatal(err)
	}
	want := []string{filepath.Base(held.path), filepath.Base(living.path), "out"}
	got := names(t, parent)
	for _, name := range want {
		if !strings.Contains(got, name) {
			t.Errorf("%s is gone: %s", name, got)
		}
	}
	if len(strings.Fields(got)) != len(want) {
		t.Errorf("there are %s, want %s", got, want)
	}
}

func TestFileAndNewFile(t *testing.T) {
	parent := t.TempDir()
	path := filepath.Join(parent, "state.json")
	if err := NewFile(path, []byte("one")); err != nil {
		t.Fatal(err)
	}
	if err := NewFile(path, []byte("two")); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a second new file: %v", err)
	}
	if got, _ := os.ReadFile(path); string(got) != "one" {
		t.Errorf("the file holds %q", got)
	}
	if err := File(path, []byte("three")); err != nil {
		t.Fatal(err)
	}
	if got, _ := os.ReadFile(path); string(got) != "three" {
		t.Errorf("the file holds %q", got)
	}
	if got := names(t, parent); got != "state.json" {
		t.Errorf("beside the file stands %s", got)
	}
}

// A link to a folder stays a link, and the folder that it leads to is replaced.
func TestLinksStay(t *testing.T) {
	parent := t.TempDir()
	dir, link := filepath.Join(parent, "real"), filepath.Join(parent, "link")
	if err := Folder(dir, content("old"), anything); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("real", link); err != nil {
		t.Fatal(err)
	}
	if err := Folder(link, content("new"), anything); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&fs.ModeSymlink == 0 {
		t.Errorf("the link is now %v (%v)", info, err)
	}
	if got, err := wordIn(dir); got != "new" || err != nil {
		t.Errorf("the folder holds %q (%v)", got, err)
	}
}
