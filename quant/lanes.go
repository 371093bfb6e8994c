package quant

import (
	"kerf/dataset"
)

// laneCount is the number of sequences that run side by side: a vector of AVX2 holds eight int32.
const laneCount = 8

// PredictAll implements [dataset.SideBySide]: it is [Network.Predict] of several sequences, of any
// number and lengths. dst has the outputs per sequence, in physical units [steps × outputs].
func (n *Network) PredictAll(sequences []*dataset.Sequence, dst [][]float64) {
	outputs := len(n.Outputs)
	n.visit(sequences, func(sequence, step int, _, y []int32) {
		n.Decode(y, dst[sequence][step*outputs:(step+1)*outputs])
	})
}

// visit runs sequences from the zero state and calls after for every step of each, with the vector
// that the last dense layer multiplied and with the outputs. Both slices hold until after returns.
// Steps of one sequence come in order, those of several sequences in any order.
func (n *Network) visit(sequences []*dataset.Sequence,
	after func(sequence, step int, beforeHead, y []int32)) {
	if useLanes {
		for at := 0; at < len(sequences); at += laneCount {
			part := sequences[at:min(at+laneCount, len(sequences))]
			n.newLanes().visit(part, func(lane, step int, beforeHead, y []int32) {
				after(at+lane, step, beforeHead, y)
			})
		}
		return
	}
	for i, s := range sequences {
		n.visitOne(s, func(step int, beforeHead, y []int32) { after(i, step, beforeHead, y) })
	}
}

// visitOne is [Network.visit] for one sequence, without lanes.
func (n *Network) visitOne(s *dataset.Sequence, after func(step int, beforeHead, y []int32)) {
	state := n.NewState()
	x, y := make([]int32, len(n.Features)), make([]int32, len(n.Outputs))
	encoder := n.newEncoder()
	for step := range s.Steps {
		encoder.encode(s, step, x)
		n.Step(state, x, y)
		after(step, state.beforeHead(), y)
	}
}
