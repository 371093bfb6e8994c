package quant

import (
	"context"
	"fmt"
	"math/rand/v2"

	"kerf/dataset"
	"kerf/model"
)

// watcher repeats the sums of every row in 64 bits, beside the steps of the engine.
type watcher struct {
	net   *Network
	reach []reach // per matrix
}

// reach is the most that the accumulators of one matrix reached.
type reach struct {
	size  int64   // largest magnitude of a sum, half a step of the rescale included
	share float64 // largest share of its own bound that a row reached
}

// newWatcher returns a watcher that has seen nothing yet.
func (n *Network) newWatcher() *watcher { return &watcher{n, make([]reach, len(n.Matrices()))} }

// watch runs recordings through the network and returns what its accumulators reached.
func (n *Network) watch(rec *dataset.Recordings) *watcher {
	parts := make([]*watcher, len(rec.Sequences))
	dataset.EachSequence(rec, func(i int, s *dataset.Sequence) {
		parts[i] = n.newWatcher()
		parts[i].run(s)
	})
	all := n.newWatcher()
	for _, part := range parts {
		all.merge(part)
	}
	return all
}

// merge takes over what another watcher saw beyond w.
func (w *watcher) merge(o *watcher) {
	for i, r := range o.reach {
		w.reach[i] = reach{max(w.reach[i].size, r.size), max(w.reach[i].share, r.share)}
	}
}

// run runs a sequence from the zero state.
func (w *watcher) run(s *dataset.Sequence) {
	n := w.net
	state, encoder := n.NewState(), n.newEncoder()
	x, y := make([]int32, len(n.Features)), make([]int32, len(n.Outputs))
	before := make([][]int32, len(n.Layers))
	for step := range s.Steps {
		encoder.encode(s, step, x)
		for i := range n.Layers {
			before[i] = append(before[i][:0], state.Hidden(i)...)
		}
		n.Step(state, x, y)
		v, at := x, 0
		for i, l := range n.Layers {
			w.rows(at, l.Input, 0, l.Input.Rows, v)
			w.recurrent(at+1, l, v, before[i])
			v, at = state.Hidden(i), at+2
		}
		for i, d := range n.Dense {
			w.rows(at+i, d.Weights, 0, d.Weights.Rows, v)
			if !d.Last {
				v = state.dense[i]
			}
		}
	}
}

// recurrent watches the rows of a recurrent matrix, matrix number at. They multiply the state h
// before the step. In a reset-before GRU the rows of the candidate multiply h times the reset gate.
func (w *watcher) recurrent(at int, l *Layer, x, h []int32) {
	m := l.Recurrent
	if l.Kind != model.GRUResetBefore {
		w.rows(at, m, 0, m.Rows, h)
		return
	}
	scaled := make([]int32, l.Units)
	for j := range scaled {
		scaled[j] = scaleQ16(logisticQ16(sat16(l.Input.row(j, x)+m.row(j, h)), l.TableShift()),
			h[j])
	}
	w.rows(at, m, 0, 2*l.Units, h)
	w.rows(at, m, 2*l.Units, m.Rows, scaled)
}

// rows compares rows from..to of m, matrix number at, with their bounds, for the input v. It panics
// where a sum exceeds its bound: the proof of the bound would be wrong.
func (w *watcher) rows(at int, m *Matrix, from, to int, v []int32) {
	for r := from; r < to; r++ {
		sum := int64(m.Bias[r])
		for c, weight := range m.W[r*m.Cols : (r+1)*m.Cols] {
			sum += int64(weight) * int64(v[c])
		}
		size := max(sum, -sum)
		if m.Rescaled() {
			size += int64(1) << (m.Shift[r] - 1)
		}
		if size > m.Bound[r] {
			panic(fmt.Sprintf("quant: the accumulator of %s, row %d, reaches %d, its bound is %d",
				m.Name, r, size, m.Bound[r]))
		}
		w.reach[at].size = max(w.reach[at].size, size)
		if m.Bound[r] > 0 {
			w.reach[at].share = max(w.reach[at].share, float64(size)/float64(m.Bound[r]))
		}
	}
}

// attack searches for inputs within b that fill the accumulators. It climbs for one matrix after
// the other and notes what all of them reach on the way. Inputs alone fill the first matrix, of
// which one step shows the row with the largest bound.
func (w *watcher) attack(ctx context.Context, b bounds) {
	n, random := w.net, rand.New(rand.NewPCG(0, 0))
	w.try(w.fullest(b))
	for at := 1; at < len(w.reach) && ctx.Err() == nil; at++ {
		var best *dataset.Sequence
		most := 0.0
		for batch := range rangeBatches {
			next := b.random(random, rangeSteps, n.Columns)
			if batch >= rangeBatches/4 {
				next = b.move(random, best, random.IntN(rangeSteps), n.Columns).Sequence
			}
			if share := w.try(next)[at].share; share > most || best == nil {
				best, most = next, share
			}
		}
	}
}

// try runs an attack and returns what its accumulators reached by themselves.
func (w *watcher) try(s *dataset.Sequence) []reach {
	alone := w.net.newWatcher()
	alone.run(s)
	w.merge(alone)
	return alone.reach
}

// fullest returns the single step that fills the row of the first matrix with the largest bound.
func (w *watcher) fullest(b bounds) *dataset.Sequence {
	n := w.net
	m := n.Layers[0].Input
	row := 0
	for r, bound := range m.Bound {
		if bound > m.Bound[row] {
			row = r
		}
	}
	s := &dataset.Sequence{Steps: 1, X: make([]float64, len(b.low))}
	for c, k := range n.Columns {
		place := 0.0
		if (m.W[row*m.Cols+c] > 0) == (m.Bias[row] >= 0) {
			place = 1
		}
		b.hold(s, 0, 1, k, place)
	}
	return s
}
