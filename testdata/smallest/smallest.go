// Package smallest makes the jobs by which kerf's search is judged: networks of which the smallest
// that does the job is known, because many were trained. Four networks have at least three times
// the units that they need, and features that repeat each other; of a fifth nothing can be cut.
// Machine, recordings and networks are invented and synthetic; README.md has origin, seeds and
// figures.
//
//	power_unit.go   the machine that all jobs share, and its scenarios
//	cooling.go, phases.go, accumulator.go, ram.go, needed.go
//	                one job each: what is to be told, and what the sensors show
//	recordings.go   sequences of a job as CSV
//	training.go     the networks as given, trained on recordings of their own
//	comparison.go   their loss beside the noise, and beside that of other trainings
//	speed.go        jobs of any size with random networks, to measure how long a search takes
//
// Recordings are not stored. The same seed gives the same bytes on every processor.
package smallest

import (
	"embed"
	"math/rand/v2"
	"os"
	"path/filepath"

	"kerf/dataset"
	"kerf/model"
)

// Jobs are the jobs in the order of the README.
var Jobs = []*Job{cooling, phases, accumulator, ram, needed}

// Job is one network with its task.
type Job struct {
	Name string // of its folder

	seed    uint64  // of its recordings and its network, see the constants below
	seconds float64 // from one step to the next
	epochs  int     // of the training, at most: passes over the training recordings
	layers  []layer
	sensors []sensor
	start   func(d duty, random *rand.Rand) machine // draws the machine of a sequence

	// A regression has quantities, a classifier has classes in a column of the recordings, and the
	// share of steps at which the recorded class is a wrong one.
	quantities []quantity
	column     string
	classes    []string
	wrong      float64

	drawn func(j *Job) *dataset.Float // returns the network as given, where it is not trained
}

// What is added to the seed of a job.
const (
	trainingSeed = iota + 1
	selectionSeed
	signoffSeed
	networkSeed
	comparisonSeed
)

// layer is a recurrent layer of a network as given.
type layer struct {
	kind  model.Kind
	units int
}

// sensor is a feature without its normalisation.
type sensor struct{ name, channel, kind, unit string }

// quantity is an output. noise is the standard deviation of the error of its recorded values, which
// no network can learn.
type quantity struct {
	name, unit string
	noise      float64
}

// machine is the true state in one sequence.
type machine interface {
	// step advances by one step and sets x to the readings of the sensors and y to the outputs
	// without their noise; of a classifier y is 0 before, and the class gets a 1.
	step(x, y []float64)
}

//go:embed cooling phases accumulator ram needed
var stored embed.FS

// Files returns the files of the job by name, as they belong into one folder: job.toml,
// features.csv, model.safetensors, selection.csv and signoff.csv, and outputs.csv unless the job
// is a classifier. The map is the caller's.
func (j *Job) Files() (map[string][]byte, error) {
	entries, err := stored.ReadDir(j.Name)
	if err != nil {
		return nil, err
	}
	files := map[string][]byte{
		"selection.csv": j.recordings(selectionSet), "signoff.csv": j.recordings(signoffSet),
	}
	for _, entry := range entries {
		if files[entry.Name()], err = stored.ReadFile(j.Name + "/" + entry.Name()); err != nil {
			return nil, err
		}
	}
	return files, nil
}

// Write writes the files of the job into the folder dir, which is made if it is missing.
func (j *Job) Write(dir string) error {
	files, err := j.Files()
	if err != nil {
		return err
	}
	return write(dir, files)
}

// write writes files into a folder, which is made if it is missing.
func write(dir string, files map[string][]byte) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// reference names the columns of recordings that hold the outputs.
func (j *Job) reference() dataset.Reference {
	if j.column != "" {
		return dataset.Reference{Outputs: j.classes, Column: j.column}
	}
	r := dataset.Reference{}
	for _, q := range j.quantities {
		r.Outputs = append(r.Outputs, q.name)
	}
	return r
}

// TrainingRecordings returns the recordings that the network as given was trained on, as CSV.
func (j *Job) TrainingRecordings() []byte { return j.recordings(trainingSet) }
