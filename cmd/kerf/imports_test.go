package main

import (
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// line is the order of the packages: each may import only what stands to its
// left. prune and quant do not know each other.
var line = []string{"docs", "fault", "whole", "portable", "model", "model/lanes", "dataset",
	"frontend", "targets", "targets/measure", "prune", "quant/rows", "quant", "budget/cost", "recovery",
	"budget", "budget/draft", "exporter/emit", "exporter/report", "exporter/report/page", "exporter",
	"cmd/kerf"}

func TestImportLine(t *testing.T) {
	root := filepath.Join("..", "..")
	checked := 0
	for place, pkg := range line {
		entries, err := os.ReadDir(filepath.Join(root, pkg))
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			if !strings.HasSuffix(e.Name(), ".go") || strings.HasSuffix(e.Name(), "_test.go") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(root, pkg, e.Name()),
				nil, parser.ImportsOnly)
			if err != nil {
				t.Fatal(err)
			}
			for _, spec := range file.Imports {
				path, _ := strconv.Unquote(spec.Path.Value) // the parser has checked it
				imported, ours := strings.CutPrefix(path, "kerf/")
				if !ours || strings.HasPrefix(imported, "testdata/") {
					continue
				}
				checked++
				if at := slices.Index(line, imported); at < 0 || at >= place {
					t.Errorf("%s/%s imports %s, which does not stand to its left", pkg, e.Name(),
						imported)
				}
				if pkg == "targets/measure" && imported != "targets" && imported != "fault" {
					t.Errorf("%s/%s imports %s: it measures C, whatever made it", pkg, e.Name(),
						imported)
				}
				if pkg == "recovery" && imported == "prune" {
					t.Errorf("%s/%s imports prune: it trains a network, whoever cut it", pkg,
						e.Name())
				}
				if pkg == "quant" && imported == "prune" {
					t.Errorf("%s/%s: prune and quant do not know each other", pkg, e.Name())
				}
			}
		}
	}
	if checked < 20 {
		t.Errorf("only %d imports of our own packages found: is the test looking in the "+
			"right place?", checked)
	}
}
