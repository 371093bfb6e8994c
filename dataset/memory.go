package dataset

import (
	"math"
	"slices"

	"kerf/model"
)

// memorySequences is the most sequences that [Float.Memory] runs through and takes states from. The
// time grows with its square, and the mean over 8 times 8 pairs hardly moves with more.
const memorySequences = 8

// Memory returns how many time steps the network remembers on recordings. It runs sequences from
// the zero state and from the end states of other sequences, and compares the outputs in standard
// deviations: the memory is the number of steps after which they differ for good by less than 1/e
// of their first difference (root mean square over pairs of sequences and states). It is the length
// of the longest sequence where the outputs never come that near, and at least 1.
func (f *Float) Memory(rec *Recordings) int {
	sequences := slices.Clone(rec.Sequences)
	slices.SortStableFunc(sequences, func(a, b *Sequence) int { return b.Steps - a.Steps })
	sequences = sequences[:min(memorySequences, len(sequences))]
	longest := sequences[0].Steps
	ends := make([]*model.Run, len(sequences))
	fromZero := make([][]float64, len(sequences))
	InParallel(len(sequences), func(i int) {
		f.Visit(sequences[i], func(_ int, run *model.Run, raw []float64) {
			fromZero[i] = append(fromZero[i], raw...)
			ends[i] = run
		})
	})
	squares := make([][]float64, len(sequences)) // per sequence and step, over all other states
	InParallel(len(sequences), func(i int) {
		squares[i] = make([]float64, longest)
		for j, end := range ends {
			if i != j || len(ends) == 1 {
				f.apart(sequences[i], end, fromZero[i], squares[i])
			}
		}
	})
	memory := 1
	for step := range longest {
		first, now := 0.0, 0.0 // of the sequences that have not ended
		for i, s := range sequences {
			if step < s.Steps {
				first, now = first+squares[i][0], now+squares[i][step]
			}
		}
		if now >= first/(math.E*math.E) && now > 0 {
			memory = step + 1
		}
	}
	return memory
}

// apart runs a sequence from the states of another run and adds the squared differences of its
// outputs to the usual ones [steps × outputs], step by step, to squares [steps].
func (f *Float) apart(s *Sequence, from *model.Run, usual, squares []float64) {
	run := f.Net.NewRun()
	for l := range f.Net.Recurrent {
		copy(run.State(l), from.State(l))
		copy(run.Cell(l), from.Cell(l))
	}
	x, raw := make([]float64, len(f.Kept)), make([]float64, len(f.Outputs))
	for step := range s.Steps {
		f.Normalise(s.X[step*len(f.Features):(step+1)*len(f.Features)], x)
		run.Step(x, raw)
		for o, v := range raw {
			d := v - usual[step*len(raw)+o]
			squares[step] += float64(d * d)
		}
	}
}
