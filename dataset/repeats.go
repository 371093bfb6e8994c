package dataset

import (
	"encoding/binary"
	"hash/fnv"
	"math"
)

// repeatedRun is the number of steps in a row that must be the same, value for value, to be a
// repeat. Our choice: so many steps in which something moves are not the same by chance.
const repeatedRun = 8

// mostRuns is about the most runs of steps that are remembered. Our choice, to bound the memory: of
// longer recordings one run in two, four, ... is looked at, picked by its hash.
const mostRuns = 1 << 18

// Shared lists the sequences of b that repeat a: more than half of their steps have the same
// features as steps of a, in the same order, whatever the names and outputs. Such a sequence is no
// independent evidence.
func Shared(a, b *Recordings) []*Sequence {
	known := map[uint64]bool{}
	pick := picking(a)
	for _, s := range a.Sequences {
		remember(known, a.runs(s, false, pick))
	}
	var shared []*Sequence
	for _, s := range b.Sequences {
		if isRepeat(known, b.runs(s, false, pick)) {
			shared = append(shared, s)
		}
	}
	return shared
}

// Unique returns the recordings without the sequences of which more than half repeats an earlier
// one in features and outputs, as far as these are recorded, and the number of sequences it
// dropped. A repeated sequence is no further evidence.
func Unique(rec *Recordings) (unique *Recordings, dropped int) {
	unique = &Recordings{Features: rec.Features, Outputs: rec.Outputs, Classes: rec.Classes,
		Memory: rec.Memory}
	known := map[uint64]bool{}
	pick := picking(rec)
	for _, s := range rec.Sequences {
		if runs := rec.runs(s, true, pick); !isRepeat(known, runs) {
			remember(known, runs)
			unique.Sequences = append(unique.Sequences, s)
		}
	}
	return unique, len(rec.Sequences) - len(unique.Sequences)
}

// picking returns a power of two. Of the runs of recordings, those are looked at whose hash is a
// multiple of it.
func picking(rec *Recordings) uint64 {
	pick := uint64(1)
	for uint64(rec.Steps()) > pick*mostRuns {
		pick *= 2
	}
	return pick
}

// runs returns the hashes of the picked runs of [repeatedRun] steps of a sequence in which
// something moves. Where there is none, it returns the hash of all steps.
func (r *Recordings) runs(s *Sequence, withOutputs bool, pick uint64) []uint64 {
	rows := make([]uint64, s.Steps)
	for step := range rows {
		row := fnv.New64a()
		hashValues(row, s.X[step*r.Features:(step+1)*r.Features])
		if withOutputs && s.Y != nil {
			hashValues(row, s.Y[step*r.Outputs:(step+1)*r.Outputs])
		}
		rows[step] = row.Sum64()
	}
	var runs []uint64
	still := 1 // steps so far that are like the last one
	for step := range rows {
		if step > 0 && rows[step] == rows[step-1] {
			still++
		} else {
			still = 1
		}
		if step+1 < repeatedRun || still >= repeatedRun {
			continue
		}
		if h := hashRows(rows[step+1-repeatedRun : step+1]); h%pick == 0 {
			runs = append(runs, h)
		}
	}
	if len(runs) == 0 {
		runs = append(runs, hashRows(rows))
	}
	return runs
}

func hashValues(to interface{ Write([]byte) (int, error) }, values []float64) {
	var word [8]byte
	for _, v := range values {
		binary.LittleEndian.PutUint64(word[:], math.Float64bits(v))
		to.Write(word[:])
	}
}

func hashRows(rows []uint64) uint64 {
	hash := fnv.New64a()
	var word [8]byte
	for _, row := range rows {
		binary.LittleEndian.PutUint64(word[:], row)
		hash.Write(word[:])
	}
	return hash.Sum64()
}

func remember(known map[uint64]bool, runs []uint64) {
	for _, h := range runs {
		known[h] = true
	}
}

// isRepeat reports whether more than half of the runs are known.
func isRepeat(known map[uint64]bool, runs []uint64) bool {
	n := 0
	for _, h := range runs {
		if known[h] {
			n++
		}
	}
	return 2*n > len(runs)
}
