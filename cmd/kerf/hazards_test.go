package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Every test that docs/hostile-files.md names is there, and the table of fuzzing lacks none.
func TestHazardsNameTestsThatExist(t *testing.T) {
	root := filepath.Join("..", "..")
	text, err := os.ReadFile(filepath.Join(root, "docs", "hostile-files.md"))
	if err != nil {
		t.Fatal(err)
	}
	named := map[string]bool{}
	for _, m := range regexp.MustCompile("`([a-z/]+)\\.((?:Test|Fuzz)\\w+)`").FindAllStringSubmatch(
		string(text), -1) {
		named[m[1]+"."+m[2]] = true
	}
	if len(named) < 30 {
		t.Fatalf("only %d tests named", len(named))
	}
	present := map[string]bool{}
	for _, pattern := range []string{"*/*_test.go", "*/*/*_test.go", "*/*/*/*_test.go"} {
		files, err := filepath.Glob(filepath.Join(root, pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			source, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			folder, err := filepath.Rel(root, filepath.Dir(file))
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range regexp.MustCompile(
				`(?m)^func ((?:Test|Fuzz)\w+)\(`).FindAllStringSubmatch(string(source), -1) {
				present[filepath.ToSlash(folder)+"."+m[1]] = true
			}
		}
	}
	for name := range named {
		if !present[name] {
			t.Errorf("the document names %s, which is not there", name)
		}
	}
	for name := range present {
		if strings.Contains(name, ".Fuzz") && !named[name] {
			t.Errorf("the document lacks %s", name)
		}
	}
}
