package dataset

import (
	"math"
	"slices"

	"kerf/model"
)

// memorySequences bounds the sequences that [Float.Memory] runs through and takes states from:
// their number enters squared, and the mean over 8 times 8 pairs hardly moves with more.
const memorySequences = 8

// Memory is how many steps the network remembers on recordings: after so many steps, and ever
// after, outputs that began in the end states of other sequences differ from those that began with
// the zero state by less than 1/e of what they differed by at first (root mean square over pairs of
// sequences and states, in standard deviations of the outputs). It is the length of the longest
// sequence where the outputs never come that near, and 1 at least.
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

// apart adds the squared differences of the outputs of a sequence that begins in another state.
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
