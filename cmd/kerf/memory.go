package main

import (
	"os"
	"runtime/debug"
	"slices"

	"kerf/budget"
	"kerf/dataset"
)

// collectPercent lets the garbage collector run when the heap has grown by a tenth instead of by
// all of it. Nearly all memory is recordings, which hold no pointers: they cost the collector
// nothing, but twice their size would be needed otherwise.
const collectPercent = 10

// reservedBytes are never touched, so they take address space and no memory; but they count as
// heap, whose tenth is then at least 26 MB. With a small heap the collector would run all the time,
// a seventh of the processor time of the demo.
const reservedBytes = 256 << 20

// besideRecordings is the memory that is aimed at beside twice the recordings: they themselves and
// a copy in single precision for the search, then what is computed of them. programBytes of that
// are the program itself, which the collector does not count, and what is added while it runs.
const (
	besideRecordings = 64 << 20
	programBytes     = 30 << 20
)

// collectEarly makes the collector run as the constants say, unless the environment says how
// (GOGC, GOMEMLIMIT; package runtime). What it returns has to be kept alive.
func collectEarly() (reserved []byte) {
	if isCollectorSet() {
		return nil
	}
	debug.SetGCPercent(collectPercent)
	return make([]byte, reservedBytes)
}

func isCollectorSet() bool { return os.Getenv("GOGC") != "" || os.Getenv("GOMEMLIMIT") != "" }

// limitMemory tells the collector how much memory a job should take. It is a soft limit: garbage is
// collected earlier, and what is in use may be more.
func limitMemory(in *budget.Inputs) {
	if isCollectorSet() {
		return
	}
	recorded := 0
	for _, rec := range []*dataset.Recordings{in.Selection, in.Signoff, in.Further} {
		if rec == nil {
			continue
		}
		recorded += 8 * rec.Steps() * (rec.Features + rec.Outputs)
		for _, s := range rec.Sequences {
			if s.Sampled != nil {
				recorded += 8*len(s.Sampled.X) + 4*len(s.Sampled.Numbers)
			}
		}
	}
	if in.Raw != nil {
		for _, s := range slices.Concat(in.Raw.Selection, in.Raw.Signoff) {
			if s != nil {
				recorded += 8 * len(s.X) * len(s.X[0])
			}
		}
	}
	debug.SetMemoryLimit(int64(reservedBytes + besideRecordings - programBytes + 2*recorded))
}
