package main

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"slices"
	"strings"
	"time"
)

// results is the file of results.
type results struct {
	Command string `json:"command"`
	Jobs    []*job `json:"jobs"`
}

// job has what was found of a job.
type job struct {
	Name      string   `json:"name"`
	Untrained *network `json:"untrained"` // what plan takes without training
	Runs      []run    `json:"runs"`
	Reference *network `json:"reference"` // the cheapest that holds of all runs; nil: none does
}

// run is a search with a number of units.
type run struct {
	Count  []int  `json:"count"` // of units per recurrent layer
	Seed   int    `json:"seed"`  // of [recovery]
	Date   string `json:"date"`
	Commit string `json:"commit"`
	network
}

// read reads the results of earlier runs, if there are any.
func read(path string) (*results, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return &results{Command: "go run ./testdata/smallest/reference"}, nil
	}
	if err != nil {
		return nil, err
	}
	r := &results{}
	return r, json.Unmarshal(text, r)
}

// write writes the results, whole or not at all: a run stands on a line of its own.
func (r *results) write(path string) error {
	text, err := json.Marshal(r)
	if err != nil {
		return err
	}
	lines := strings.NewReplacer(`{"name":`, "\n{\"name\":", `"untrained":`, "\n\"untrained\":",
		`{"count":`, "\n {\"count\":", `"reference":`, "\n\"reference\":").Replace(string(text))
	if err := os.WriteFile(path+".new", []byte(lines+"\n"), 0o644); err != nil {
		return err
	}
	return os.Rename(path+".new", path)
}

// of returns the results of a job, which are added if there are none.
func (r *results) of(name string) *job {
	for _, j := range r.Jobs {
		if j.Name == name {
			return j
		}
	}
	j := &job{Name: name}
	r.Jobs = append(r.Jobs, j)
	return j
}

// find returns the run with a number of units and a seed; nil if there is none yet.
func (j *job) find(count []int, seed int) *run {
	for i, r := range j.Runs {
		if slices.Equal(r.Count, count) && r.Seed == seed {
			return &j.Runs[i]
		}
	}
	return nil
}

// holds reports whether a number of units holds in any run.
func (j *job) holds(count []int) bool {
	return slices.ContainsFunc(j.Runs, func(r run) bool {
		return slices.Equal(r.Count, count) && r.Holds
	})
}

// add adds a run, and makes its network the reference if it is the cheapest that holds. What plan
// takes without training counts as well.
func (j *job) add(r run) {
	j.Runs = append(j.Runs, r)
	j.Reference = nil
	if j.Untrained.Holds {
		j.Reference = j.Untrained
	}
	for _, r := range j.Runs {
		if n := r.network; n.Holds && (j.Reference == nil || n.Price < j.Reference.Price) {
			j.Reference = &n
		}
	}
}

// today returns the date and the commit at which the program runs.
func today() (date, commit string, err error) {
	out, err := exec.Command("git", "rev-parse", "--short", "HEAD").Output()
	return time.Now().Format(time.DateOnly), strings.TrimSpace(string(out)), err
}
