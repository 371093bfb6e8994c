package main

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"

	"kerf/budget"
	"kerf/testdata/demo"
	"kerf/testdata/slow"
	"kerf/testdata/smallest"
)

// jobNames are the jobs that have a reference, in the order in which they are run.
var jobNames = []string{"ram", cityWeather, "cooling", "accumulator", "phases", demoJob, "needed",
	slowJob}

const (
	cityWeather = "city-weather"
	demoJob     = "demo"
	slowJob     = "slow"
)

// Of city-weather the tolerances hold on all recordings alone: a scenario has two sequences, by
// which hardly anything can be judged.
const (
	everywhere    = `{ rmse_rise = "5 %" }`
	allRecordings = `{ rmse_rise = "5 %", scenario = { ` +
		`newyork_cold = { rmse_rise = "off" }, newyork_warm = { rmse_rise = "off" }, ` +
		`seattle_cold = { rmse_rise = "off" }, seattle_warm = { rmse_rise = "off" } } }`
)

// load writes a job into a new folder, with cycles as the objective and [recovery], and reads it.
// The jobs of package smallest name the recordings that the network as given was trained on.
func load(name string) (*budget.Inputs, error) {
	dir, err := os.MkdirTemp("", "kerf-reference")
	if err != nil {
		return nil, err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	if err := writeJob(name, dir); err != nil {
		return nil, err
	}
	made := slices.IndexFunc(smallest.Jobs, func(j *smallest.Job) bool { return j.Name == name })
	path := filepath.Join(dir, "job.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	text = append(text, "\n[search]\nobjective = \"cycles\"\n\n[recovery]\n"...)
	if made >= 0 {
		text = append(text, "recordings = \"training.csv\"\n"...)
		if err := os.WriteFile(filepath.Join(dir, "training.csv"),
			smallest.Jobs[made].TrainingRecordings(), 0o644); err != nil {
			return nil, err
		}
	}
	if name == cityWeather {
		text = bytes.ReplaceAll(text, []byte(everywhere), []byte(allRecordings))
	}
	if err := os.WriteFile(path, text, 0o644); err != nil {
		return nil, err
	}
	return budget.Load(path)
}

// writeJob writes the files of a job.
func writeJob(name, dir string) error {
	switch name {
	case cityWeather:
		return os.CopyFS(dir, os.DirFS("testdata/cityweather"))
	case slowJob:
		return slow.Write(dir, 0)
	case demoJob:
		files, err := demo.Files()
		for file, content := range files {
			if err == nil {
				err = os.WriteFile(filepath.Join(dir, file), content, 0o644)
			}
		}
		return err
	}
	for _, job := range smallest.Jobs {
		if job.Name == name {
			return job.Write(dir)
		}
	}
	panic("unknown job " + name)
}
