package main

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
)

// share is the number of mutants from each group in 200. Our choice.
var share = map[string]int{"quant": 70, "budget": 50, "exporter": 40, "C": 40}

// groups are the groups in the order in which they are listed.
var groups = []string{"quant", "budget", "exporter", "C"}

// folders are the folders of each group.
var folders = map[string][]string{
	"quant":    {"quant", "quant/rows"},
	"budget":   {"budget", "budget/cost", "budget/draft"},
	"exporter": {"exporter", "exporter/emit", "exporter/report", "exporter/report/page"},
	"C":        {cFolder},
}

// cFolder is the folder of the embedded C.
const cFolder = "exporter/emit/c"

// drawn reports whether a file's arithmetic places lines and words of pictures. Pictures are judged
// by eye and in a browser (exporter/report/page/page_browser_test.go), not by these tests.
func drawn(file string) bool {
	name := filepath.Base(file)
	return strings.HasPrefix(name, "picture") || name == "drawing.go"
}

// allSites lists every mutant of the tree, group by group, in the order of the files.
func allSites(root string) (map[string][]*mutant, error) {
	sites := map[string][]*mutant{}
	for _, group := range groups {
		files, read := "*.go", func(file string) ([]*mutant, error) {
			return goSites(root, group, file)
		}
		if group == "C" {
			files, read = "*.[ch]", func(file string) ([]*mutant, error) {
				return cSites(root, file)
			}
		}
		var paths []string
		for _, folder := range folders[group] {
			found, err := filepath.Glob(filepath.Join(root, folder, files))
			if err != nil {
				return nil, err
			}
			paths = append(paths, found...)
		}
		sort.Strings(paths)
		for _, path := range paths {
			file, err := filepath.Rel(root, path)
			if err != nil {
				return nil, err
			}
			if strings.HasSuffix(file, "_test.go") || drawn(file) {
				continue
			}
			found, err := read(file)
			if err != nil {
				return nil, err
			}
			sites[group] = append(sites[group], found...)
		}
	}
	return sites, nil
}

// spare is the number of mutants that are drawn for one that is wanted: the others replace those
// that do not compile. Our choice.
const spare = 1.4

// choose draws mutants, those of a group in random order. No two mutants of one file overlap,
// because the call of one would stand in the text of the other.
func choose(sites map[string][]*mutant, seed uint64, count int) []*mutant {
	random := rand.New(rand.NewPCG(seed, 0))
	var chosen []*mutant
	for _, group := range groups {
		all := slices.Clone(sites[group])
		random.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		want := int(spare * float64(count*share[group]) / 200)
		var taken []*mutant
		for _, m := range all {
			if len(taken) < want && !slices.ContainsFunc(taken, m.overlaps) {
				taken = append(taken, m)
			}
		}
		chosen = append(chosen, taken...)
	}
	for i, m := range chosen {
		m.id = i + 1
	}
	return chosen
}

// overlaps reports whether two mutants change the same text.
func (m *mutant) overlaps(o *mutant) bool {
	return m.file == o.file && m.from < o.to && o.from < m.to
}

// copyTree copies files from one folder to another. It leaves out files that are not there.
func copyTree(from, to string, files []string) error {
	for _, file := range files {
		raw, err := os.ReadFile(filepath.Join(from, file))
		if os.IsNotExist(err) {
			continue // deleted, not yet committed
		}
		if err != nil {
			return err
		}
		path := filepath.Join(to, file)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		mode := os.FileMode(0o644)
		if info, err := os.Stat(filepath.Join(from, file)); err == nil {
			mode = info.Mode().Perm()
		}
		if err := os.WriteFile(path, raw, mode); err != nil {
			return err
		}
	}
	return nil
}
