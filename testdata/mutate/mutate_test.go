package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/testdata/mutate/flip"
)

func write(t *testing.T, root, file, text string) {
	t.Helper()
	path := filepath.Join(root, file)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func changes(all []*mutant) []string {
	var list []string
	for _, m := range all {
		list = append(list, m.what)
	}
	return list
}

// Every operator has its mutants; constants, sizes of arrays and what a call would evaluate twice
// have none.
func TestGoSites(t *testing.T) {
	root := t.TempDir()
	write(t, root, "quant/a.go", `package quant

const limit = 1 << 4

var table [2 * limit]int

func f(v, n int) int {
	v += n
	table[g()] -= n
	if v < n && v != 3 {
		return max(v, n) >> 2
	}
	return -v
}
`)
	found, err := goSites(root, "quant", "quant/a.go")
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"+= becomes -=", "&& becomes ||", "< becomes <=", "< becomes >=",
		"!= becomes ==", ">> becomes <<", ">> becomes >> 1 +", "max becomes min"}
	if got := changes(found); !slices.Equal(got, want) {
		t.Errorf("mutants are %q, want %q", got, want)
	}
	write(t, root, "copy/quant/a.go", "")
	for i, m := range found {
		m.id = i + 1
		if err := weave(root, filepath.Join(root, "copy"), map[string]bool{"quant/a.go": true},
			[]*mutant{m}); err != nil {
			t.Fatal(err)
		}
		woven, err := os.ReadFile(filepath.Join(root, "copy/quant/a.go"))
		if err != nil || strings.Contains(string(woven), "%d") ||
			!strings.Contains(string(woven), "flip.") {
			t.Errorf("%s: %v\n%s", m.what, err, woven)
		}
	}
}

// C has mutants where it computes: not in comments, strings, lines of the preprocessor; signs and
// pointers are no operators.
func TestCSites(t *testing.T) {
	root := t.TempDir()
	write(t, root, "exporter/emit/c/a.c", `/* a + b */
#define SUM (1 + 2)
static int f(const int *p, int n)
{
    const char *text = "a - b";

    return (n << 2) + -*p;
}
`)
	found, err := cSites(root, "exporter/emit/c/a.c")
	if err != nil {
		t.Fatal(err)
	}
	if got, want := changes(found),
		[]string{"<< becomes >>", "+ becomes -"}; !slices.Equal(got, want) || found[0].line != 7 {
		t.Errorf("mutants are %q in line %d, want %q in line 7", got, found[0].line, want)
	}
	text, err := flip.ReadFile(os.DirFS(filepath.Join(root, "exporter/emit")), "c/a.c")
	if err != nil || !strings.Contains(string(text), "(n << 2)") {
		t.Errorf("without a mutant the file is %q, %v", text, err)
	}
}

// The choice depends on the seed alone, and no two mutants of a file overlap.
func TestChoose(t *testing.T) {
	root := filepath.Join("..", "..")
	sites, err := allSites(root)
	if err != nil {
		t.Fatal(err)
	}
	first, again := choose(sites, 1, 200), choose(sites, 1, 200)
	if !slices.Equal(first, again) {
		t.Error("the same seed chooses other mutants")
	}
	if len(first) < 200 {
		t.Errorf("%d mutants", len(first))
	}
	for i, m := range first {
		if slices.ContainsFunc(first[:i], m.overlaps) {
			t.Errorf("%s:%d %s overlaps another", m.file, m.line, m.what)
		}
	}
	if slices.Equal(changes(first), changes(choose(sites, 2, 200))) {
		t.Error("another seed chooses the same")
	}
}

// What is switched off computes what the source says.
func TestFlipIsOff(t *testing.T) {
	if flip.Add(1, 2, 3) != 5 || flip.Shr(2, 8, 1) != 4 || flip.Less(3, 1, 1) ||
		flip.Max(4, 1, 2) != 2 || flip.Round(5, 2.5) != 3 || !flip.And(6, true, func() bool {
		return true
	}) {
		t.Error("an operation without its mutant is another operation")
	}
}
