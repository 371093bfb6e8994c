package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// weave writes the Go mutants into the copy of a tree: every changed place calls package flip.
// Files without mutants are written as they are.
func weave(root, copied string, files map[string]bool, chosen []*mutant) error {
	byFile := map[string][]*mutant{}
	for file := range files {
		byFile[file] = nil
	}
	for _, m := range chosen {
		if m.group != "C" {
			byFile[m.file] = append(byFile[m.file], m)
		}
	}
	for file, mutants := range byFile {
		raw, err := os.ReadFile(filepath.Join(root, file))
		if err != nil {
			return err
		}
		text := string(raw)
		slices.SortFunc(mutants, func(a, b *mutant) int { return b.from - a.from })
		for _, m := range mutants {
			for _, e := range m.edits {
				text = text[:e.from] + strings.Replace(e.text, "%d", strconv.Itoa(m.id), 1) +
					text[e.to:]
			}
		}
		woven := strings.ReplaceAll(text, readsC, "flip.ReadFile(cFiles, ")
		// The import stands on the line of the package clause, so that lines keep their numbers.
		if woven != string(raw) {
			woven = packageClause.ReplaceAllString(woven,
				`$0; import flip "kerf/testdata/mutate/flip"`)
			if strings.Contains(woven, "\t\"math\"\n") {
				woven += "\nvar _ = math.Pi // a mutant may have taken the last call\n"
			}
		}
		if err := os.WriteFile(filepath.Join(copied, file), []byte(woven), 0o644); err != nil {
			return err
		}
	}
	return nil
}

var (
	packageClause = regexp.MustCompile(`(?m)^package \w+$`)
	compilerLine  = regexp.MustCompile(`(?m)^(?:vet: )?(?:\./)?((?:\w+/)+\w+\.go):(\d+):\d+: `)
)

// readsC is the call with which package exporter/emit reads the embedded C.
const readsC = "cFiles.ReadFile("

// readersOfC returns the files that read the embedded C, so that weave must change them too.
func readersOfC(root string) (map[string]bool, error) {
	paths, err := filepath.Glob(filepath.Join(root, filepath.Dir(cFolder), "*.go"))
	if err != nil {
		return nil, err
	}
	files := map[string]bool{}
	for _, path := range paths {
		text, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		if strings.Contains(string(text), readsC) {
			file, err := filepath.Rel(root, path)
			if err != nil {
				return nil, err
			}
			files[file] = true
		}
	}
	return files, nil
}

// nearby is the number of lines between a mutant and the compiler's complaint about it, at most:
// operations span lines.
const nearby = 3

// compiling weaves mutants and takes out those that the compiler refuses, until it refuses none. It
// returns the others.
func compiling(root, copied string, chosen []*mutant) ([]*mutant, error) {
	files, err := readersOfC(root)
	if err != nil {
		return nil, err
	}
	for _, m := range chosen {
		if m.group != "C" {
			files[m.file] = true
		}
	}
	for {
		if err := weave(root, copied, files, chosen); err != nil {
			return nil, err
		}
		cmd := exec.Command("go", "build", "-gcflags=-e", "./quant/...", "./budget/...",
			"./exporter/...")
		cmd.Dir = copied
		out, err := cmd.CombinedOutput()
		if err == nil {
			return chosen, nil
		}
		before := len(chosen)
		for _, at := range compilerLine.FindAllStringSubmatch(string(out), -1) {
			line, _ := strconv.Atoi(at[2])
			chosen = slices.DeleteFunc(chosen, func(m *mutant) bool {
				return m.file == at[1] && m.line >= line-nearby && m.line <= line+nearby
			})
		}
		if len(chosen) == before {
			return nil, fmt.Errorf("the copy does not compile: %s", out)
		}
		say("%d mutants do not compile", before-len(chosen))
	}
}
