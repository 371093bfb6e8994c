// Package plant simulates the hydraulic power unit of a log splitter, the
// invented machine behind kerf's demo job. Everything it writes is synthetic:
// no recording of a real machine went in, and the equations are plain
// textbook shapes with constants chosen to look plausible.
//
// Three pressure channels (supply, return, case drain) are sampled, and six features of each are
// computed from the samples; oil temperature is the nineteenth. No built-in sensor shows the two
// outputs, internal leakage and entrained air: they are read from instruments on a test bench.
//
//	plant.go       the three sets of recordings, one sequence at a time
//	scenario.go    the four scenarios
//	power_unit.go  the true state: load, oil, wear, leakage, air, one step of 100 ms at a time
//	sensors.go     what sensors and test bench show of it, with noise and drift
//	samples.go     the samples of a window
//	features.go    the features of a window
//	files.go       the recordings as CSV, and samples in little space
//
// The same seed gives the same bytes. Every sequence has a random stream of its own, so that a
// longer set begins with the sequences of a shorter one. Processors that fuse multiply and add
// change values by some 1e-15 relative; codes and printed digits hide it, except with a chance of
// about 1e-5 for a whole file.
package plant

import (
	"math"
	"math/rand/v2"
)

// StepSeconds is the time from one step of a recording to the next.
const StepSeconds = 0.1

// Shortest and longest sequence, in steps.
const (
	minSteps = 400
	maxSteps = 510
)

// Set is a group of sequences that serve one purpose.
type Set struct {
	Name        string // file name without suffix: train, selection, signoff
	Prefix      string // first part of the sequence names: trn, sel, off
	Seed        uint64 // seed of the set; no two sets share one
	PerScenario int    // sequences per scenario
	Sampled     int    // the first so many of a scenario are kept with their samples
}

// The three sets of the demo job. Only Selection and Signoff are kept in the repository.
var (
	Train     = Set{Name: "train", Prefix: "trn", Seed: 20_001, PerScenario: 40}
	Selection = Set{Name: "selection", Prefix: "sel", Seed: 20_002, PerScenario: 10, Sampled: 1}
	Signoff   = Set{Name: "signoff", Prefix: "off", Seed: 20_003, PerScenario: 12, Sampled: 2}
)

// simulate returns the steps of sequence number i of a scenario.
func (s Set) simulate(sc scenario, i int) []step {
	rng := rand.New(rand.NewPCG(s.Seed, sc.stream+uint64(i)))
	n := minSteps + rng.IntN(maxSteps-minSteps+1)
	unit := newPowerUnit(sc, rng)
	sensors := newSensors(unit, rng)
	steps := make([]step, n)
	var before [len(Channels)]float64
	for c := range before {
		before[c] = math.NaN()
	}
	for t := range steps {
		unit.advance()
		codes, temperature := sensors.read(unit)
		steps[t].codes = codes
		steps[t].features = append(features(codes, &before), temperature)
		steps[t].leakage, steps[t].air = sensors.reference(unit)
	}
	return steps
}

// step is one line of a recording, and the codes of its samples.
type step struct {
	codes    [len(Channels)][Window]uint16
	features []float64
	leakage  float64 // L/min
	air      float64 // % by volume
}
