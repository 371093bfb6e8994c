package dataset

import (
	"context"
	"fmt"
	"runtime"
	"runtime/debug"
	"slices"
	"sort"
	"sync"
	"sync/atomic"

	"kerf/model/lanes"
)

// EachSequence calls work for every sequence, on all cores, and returns when all calls are done.
func EachSequence(rec *Recordings, work func(i int, s *Sequence)) {
	InParallel(len(rec.Sequences), func(i int) { work(i, rec.Sequences[i]) })
}

// EachPrediction runs a predictor over all recordings, on all cores, and calls use with the
// predictions for each sequence [Steps × Outputs], from several goroutines at once.
func EachPrediction(p Predictor, rec *Recordings,
	use func(i int, s *Sequence, predicted []float64)) {
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

// EachBatch calls work for batches of up to [lanes.Width] sequences that may run side by side, on
// all cores, and returns when all calls are done. indices are the places of the sequences in the
// recordings.
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

// batches deals the sequences into groups of as many as there are lanes. Sequences of similar
// length stand together; the longest come first, so that no core is left alone with one of them at
// the end.
func batches(rec *Recordings) [][]int {
	order := make([]int, len(rec.Sequences))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool {
		return rec.Sequences[order[a]].Steps > rec.Sequences[order[b]].Steps
	})
	return slices.Collect(slices.Chunk(order, lanes.Width))
}

// InParallel calls work for 0 to n-1, on all cores, and returns when all calls are done. If a call
// panics, so does InParallel, with the reason and the stack of that call as text.
func InParallel(n int, work func(i int)) {
	inParallel(n, work, func() bool { return false })
}

// InParallelUntil does what [InParallel] does, and begins no further call when ctx has ended. The
// error is that of ctx.
func InParallelUntil(ctx context.Context, n int, work func(i int)) error {
	inParallel(n, work, func() bool { return ctx.Err() != nil })
	return ctx.Err()
}

// inParallel begins no further call when over reports true.
func inParallel(n int, work func(i int), over func() bool) {
	next := make(chan int)
	var wait sync.WaitGroup
	var panicked atomic.Pointer[string] // reason of the first call that panicked
	for range min(runtime.GOMAXPROCS(0), n) {
		wait.Go(func() {
			for i := range next {
				if reason := caught(work, i); reason != "" {
					panicked.CompareAndSwap(nil, &reason)
				}
			}
		})
	}
	for i := 0; i < n && panicked.Load() == nil && !over(); i++ {
		next <- i
	}
	close(next)
	wait.Wait()
	if reason := panicked.Load(); reason != nil {
		panic(*reason)
	}
}

// caught calls work and returns the reason and the stack if it panics, else "".
func caught(work func(i int), i int) (reason string) {
	defer func() {
		if p := recover(); p != nil {
			reason = fmt.Sprintf("%v\n\n%s", p, debug.Stack())
		}
	}()
	work(i)
	return ""
}
