package quant

import (
	"context"
	"math"

	"golang.org/x/sys/cpu"

	"kerf/dataset"
)

//go:generate sh -c "cd generate && go run . -out ../lanes_kernels_amd64.s -stubs ../lanes_stubs_amd64.go -pkg quant"

// useLanes says that the processor has AVX2, so that eight sequences run side by side. Tests turn
// it off.
var useLanes = cpu.X86.HasAVX2

// A vector holds one value of each of eight lanes; a lane is one sequence. The inputs of a matrix
// are pairs of int16 values in one 32-bit number per lane, the first of the pair in the low half.

// laneMatrix holds some of the rows of a matrix. Rows stand in blocks of eight, the last of which
// may have four, with the weights of a pair of columns side by side; they are padded with zeros.
type laneMatrix struct {
	pairs, blocks int      // pairs of columns, blocks of eight rows
	half          int      // 1: a block of four rows more
	w             []uint32 // block by block [pairs × rows of the block]
	bias          []int32  // per row, with half a step of the result, so that the shift rounds
	shift         []int32  // per row
	limits        [2]int32 // of the result
}

// newLaneMatrix lays out rows from..to of a matrix.
func newLaneMatrix(m *Matrix, from, to int) *laneMatrix {
	rows := to - from
	q := &laneMatrix{pairs: (m.Cols + 1) / 2, blocks: rows / 8,
		limits: [2]int32{minInt16, maxInt16}}
	switch rest := rows % 8; {
	case rest > 4:
		q.blocks++
	case rest > 0:
		q.half = 1
	}
	if !m.Rescaled() {
		q.limits = [2]int32{math.MinInt32, math.MaxInt32}
	}
	q.bias, q.shift = make([]int32, q.padded()), make([]int32, q.padded())
	for r := range rows {
		q.bias[r], q.shift[r] = m.Bias[from+r], int32(m.Shift[from+r])
		if q.shift[r] > 0 {
			q.bias[r] += 1 << (q.shift[r] - 1)
		}
	}
	weight := func(row, column int) int32 {
		if row >= rows || column >= m.Cols {
			return 0
		}
		return m.W[(from+row)*m.Cols+column]
	}
	for first := 0; first < q.padded(); first += 8 {
		for pair := range q.pairs {
			for row := first; row < min(first+8, q.padded()); row++ {
				q.w = append(q.w, packed(weight(row, 2*pair), weight(row, 2*pair+1)))
			}
		}
	}
	return q
}

// packed returns a pair of int16 values in one number.
func packed(low, high int32) uint32 { return uint32(uint16(low)) | uint32(high)<<16 }

// padded returns the number of rows that apply writes.
func (q *laneMatrix) padded() int { return 8*q.blocks + 4*q.half }

// apply sets y to [Matrix.row] of every row, or to accumulate where the accumulator is the result.
func (q *laneMatrix) apply(y []int32, x []uint32) {
	_, _ = y[q.padded()*laneCount-1], x[q.pairs*laneCount-1]
	affineAVX2(&y[0], &q.w[0], &q.bias[0], &q.shift[0], &x[0], &q.limits, q.pairs, q.blocks, q.half)
}

// laneNetwork holds eight sequences of a network.
type laneNetwork struct {
	network *Network
	layers  []*laneLayer
	dense   []*laneDense
	input   []uint32 // features of a step, in pairs
}

// laneDense is a dense layer of eight sequences.
type laneDense struct {
	*DenseLayer
	weights *laneMatrix
	y       []int32
	view    []int32  // between layers: y with an even number of vectors
	packed  []uint32 // view in pairs
}

// newLanes lays out the matrices of a network and makes room for eight zero states.
func (n *Network) newLanes() *laneNetwork {
	s := &laneNetwork{network: n}
	_, s.input = pairsOf(len(n.Features))
	for _, l := range n.Layers {
		s.layers = append(s.layers, newLaneLayer(l))
	}
	for _, d := range n.Dense {
		l := &laneDense{DenseLayer: d, weights: newLaneMatrix(d.Weights, 0, d.Weights.Rows)}
		l.y = make([]int32, l.weights.padded()*laneCount)
		l.view, l.packed = pairsOf(d.Weights.Rows)
		s.dense = append(s.dense, l)
	}
	return s
}

// visit runs up to eight sequences from the zero state, see [Network.visit].
func (s *laneNetwork) visit(sequences []*dataset.Sequence,
	after func(lane, step int, beforeHead, y []int32)) {
	n := s.network
	longest := 0
	for _, sequence := range sequences {
		longest = max(longest, sequence.Steps)
	}
	x, y := make([]int32, len(n.Features)), make([]int32, len(n.Outputs))
	encoder := n.newEncoder()
	before := make([]int32, n.head().Weights.Cols)
	for step := range longest {
		for lane, sequence := range sequences {
			if step < sequence.Steps {
				encoder.encode(sequence, step, x)
				s.put(lane, x)
			}
		}
		s.step()
		for lane, sequence := range sequences {
			if step < sequence.Steps {
				take(before, s.beforeHead(), lane)
				take(y, s.dense[len(s.dense)-1].y, lane)
				after(lane, step, before, y)
			}
		}
	}
}

// put sets the features of one lane.
func (s *laneNetwork) put(lane int, x []int32) {
	for i := 0; i < len(x); i += 2 {
		second := int32(0)
		if i+1 < len(x) {
			second = x[i+1]
		}
		s.input[i/2*laneCount+lane] = packed(x[i], second)
	}
}

// take copies one lane of vectors.
func take(dst, vectors []int32, lane int) {
	for i := range dst {
		dst[i] = vectors[i*laneCount+lane]
	}
}

// beforeHead returns the vectors that the last dense layer multiplies.
func (s *laneNetwork) beforeHead() []int32 {
	if len(s.dense) > 1 {
		return s.dense[len(s.dense)-2].view
	}
	return s.layers[len(s.layers)-1].view
}

// step is [Network.Step] for eight sequences.
func (s *laneNetwork) step() {
	x := s.input
	for _, l := range s.layers {
		l.step(x)
		x = l.packed
	}
	for _, d := range s.dense {
		d.weights.apply(d.y, x)
		results := d.y[:d.Weights.Rows*laneCount]
		for i, v := range results {
			results[i] = d.finish(i/laneCount, v)
		}
		if !d.Last {
			copy(d.view, results)
			pack(d.packed, d.view)
			x = d.packed
		}
	}
}

// runFaultyLanes is the rest of [Network.RunFaulty] with a run in each lane. all has the integers
// of all features of every step, first the step from which the runs differ.
func (n *Network) runFaultyLanes(ctx context.Context, all []int32, first int, runs []faultyRun,
	after func(fault, step int, y []int32)) error {
	features := len(n.Features)
	start := n.newLanes()
	for step := range first {
		for lane := range laneCount {
			start.put(lane, all[step*features:(step+1)*features])
		}
		start.step()
	}
	s := n.newLanes()
	x, y := make([]int32, features), make([]int32, len(n.Outputs))
	for len(runs) > 0 {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		batch := runs[:min(laneCount, len(runs))]
		runs = runs[len(batch):]
		s.takeState(start)
		for step := first; step < len(all)/features; step++ {
			for lane := range batch {
				batch[lane].put(x, all[step*features:(step+1)*features])
				s.put(lane, x)
			}
			s.step()
			for lane := range batch {
				take(y, s.dense[len(s.dense)-1].y, lane)
				after(batch[lane].fault, step, y)
			}
		}
	}
	return nil
}

// takeState gives all lanes the states of those of another one of the same network.
func (s *laneNetwork) takeState(from *laneNetwork) {
	for i, l := range s.layers {
		other := from.layers[i]
		copy(l.h, other.h)
		copy(l.cell, other.cell)
		copy(l.view, other.view)
		copy(l.packed, other.packed)
	}
}
