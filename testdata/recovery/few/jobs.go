package main

import (
	"bytes"
	"encoding/csv"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/testdata/demo"
	"kerf/testdata/smallest"
)

// seed is the first number of the generators of the draws.
const seed = 47_000

// everywhere ends the name of a job of which the tolerances hold on all recordings, and in
// regions, but not by scenario: there two sequences are enough for an interval, whatever their
// scenarios.
const everywhere = "/everywhere"

// tolerance is the one that all these jobs have.
const tolerance = `{ rmse_rise = "5 %" }`

// filesOf returns the files of a job by name: the demo, the open data, or one of testdata/smallest.
func filesOf(name string) (map[string][]byte, error) {
	if of, found := strings.CutSuffix(name, everywhere); found {
		files, err := filesOf(of)
		if err != nil {
			return nil, err
		}
		var off strings.Builder
		for i, scenario := range scenariosOf(files["selection.csv"]) {
			if i > 0 {
				off.WriteString(", ")
			}
			off.WriteString(scenario + ` = { rmse_rise = "off" }`)
		}
		files["job.toml"] = bytes.ReplaceAll(files["job.toml"], []byte(tolerance),
			[]byte(`{ rmse_rise = "5 %", scenario = { `+off.String()+` } }`))
		return files, nil
	}
	switch at := slices.IndexFunc(smallest.Jobs, func(j *smallest.Job) bool {
		return j.Name == name
	}); {
	case at >= 0:
		return smallest.Jobs[at].Files()
	case name == "demo":
		return demo.Files()
	}
	dir := filepath.Join("testdata", name)
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	files := map[string][]byte{}
	for _, entry := range entries {
		if files[entry.Name()], err = os.ReadFile(filepath.Join(dir, entry.Name())); err != nil {
			return nil, err
		}
	}
	return files, nil
}

// scenariosOf lists the scenarios of recordings as CSV, which stand in the second column.
func scenariosOf(text []byte) []string {
	var scenarios []string
	for line := range bytes.Lines(text) {
		cells := strings.SplitN(string(line), ",", 3)
		if scenario := cells[1]; cells[0] != "sequence" && !slices.Contains(scenarios, scenario) {
			scenarios = append(scenarios, scenario)
		}
	}
	return scenarios
}

// load reads a job of which n selection sequences of every scenario are left.
func load(name string, files map[string][]byte, n int, draw uint64) (*budget.Inputs, error) {
	dir, err := os.MkdirTemp("", "kerf-few-")
	if err != nil {
		return nil, err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	for name, content := range files {
		switch name {
		case "job.toml":
			text := strings.ReplaceAll(string(content), "[scores]\nfile = \"scores.csv\"\n", "")
			content = []byte(text)
		case "selection.csv":
			if content, err = few(content, n, draw); err != nil {
				return nil, err
			}
		}
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return nil, err
		}
	}
	return budget.Load(filepath.Join(dir, "job.toml"))
}

// few returns recordings with n sequences of every scenario, as CSV. The first columns are sequence
// and scenario.
func few(text []byte, n int, draw uint64) ([]byte, error) {
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		return nil, err
	}
	byScenario := map[string][]string{} // names of sequences
	for _, row := range rows[1:] {
		if name, scenario := row[0], row[1]; !slices.Contains(byScenario[scenario], name) {
			byScenario[scenario] = append(byScenario[scenario], name)
		}
	}
	random, stay := rand.New(rand.NewPCG(seed, draw)), map[string]bool{}
	for _, scenario := range scenariosOf(text) {
		names := byScenario[scenario]
		for i, at := range random.Perm(len(names)) {
			stay[names[at]] = i < n
		}
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	err = w.WriteAll(slices.Concat(rows[:1], slices.DeleteFunc(rows[1:], func(row []string) bool {
		return !stay[row[0]]
	})))
	return out.Bytes(), err
}
