package dataset

import (
	"runtime"
	"slices"
	"sort"
	"sync"

	"kerf/model/lanes"
)

// EachSequence calls work for every sequence, on all cores, and returns when
// all calls are done.
func EachSequence(rec *Recordings, work func(i int, s *Sequence)) {
	InParallel(len(rec.Sequences), func(i int) { work(i, rec.Sequences[i]) })
}

// EachPrediction runs a predictor over all recordings, on all cores, and hands
// over what it predicts for each sequence [Steps × Outputs].
func EachPrediction(p Predictor, rec *Recordings, use func(i int, s *Sequence, predicted []float64)) {
	if together, ok := p.(SideBySide); ok {
		EachBatch(rec, func(indices []int, sequences []*Sequence) {
			predicted := make([][]float64, len(sequences))
			for k, s := range sequences {
				predicted[k] = make([]float64, s.Steps*rec.Outputs)
			}
			together.PredictAll(sequences, predicted)
			for k, s := range sequences {
				use(indices[k], s, predicted[k])
			}
		})
		return
	}
	EachSequence(rec, func(i int, s *Sequence) {
		predicted := make([]float64, s.Steps*rec.Outputs)
		p.Predict(s, predicted)
		use(i, s, predicted)
	})
}

// EachBatch calls work for batches of sequences that may run side by side, on
// all cores, and returns when all calls are done.
func EachBatch(rec *Recordings, work func(indices []int, sequences []*Sequence)) {
	all := batches(rec)
	InParallel(len(all), func(b int) {
		sequences := make([]*Sequence, len(all[b]))
		for k, i := range all[b] {
			sequences[k] = rec.Sequences[i]
		}
		work(all[b], sequences)
	})
}

// batches deals the sequences into as many as there are lanes. Sequences of like
// length stand together; the longest come first, so that no core is left alone
// with one of them at the end.
func batches(rec *Recordings) [][]int {
	order := make([]int, len(rec.Sequences))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return rec.Sequences[order[a]].Steps > rec.Sequences[order[b]].Steps })
	return slices.Collect(slices.Chunk(order, lanes.Width))
}

// InParallel calls work for 0 to n-1, on all cores, and returns when all calls are done.
func InParallel(n int, work func(i int)) {
	next := make(chan int)
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		wait.Add(1)
		go func() {
			defer wait.Done()
			for i := range next {
				work(i)
			}
		}()
	}
	for i := range n {
		next <- i
	}
	close(next)
	wait.Wait()
}
