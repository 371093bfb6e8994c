package quant

import (
	"slices"

	"gonum.org/v1/gonum/mat"

	"kerf/dataset"
	"kerf/model"
	"kerf/portable"
)

// refit returns the last dense layer, fitted to the inputs that it really gets: the integers of the
// layers before it, whose rounding is known by now. Over the recordings of the calibration it adds
// to the weights W the ridge regression, on the integer inputs v, of the difference between the raw
// outputs y of the float network and W v:
//
//	dW = cov(y - W v, v) (cov(v, v) + λ)^-1,  db = mean(y - W v) - dW mean(v)
//
// with λ as in [damping]. No reference output enters. Only a layer without activation is refitted;
// another comes back as it is.
func (n *Network) refit(d *model.Dense, c *Calibration) *model.Dense {
	if d.Activation != model.Identity || c.recordings == nil {
		return d
	}
	some, raws := *c.recordings, [][]float64{}
	every := max(1, c.recordings.Steps()/refitSteps)
	some.Sequences = nil
	for i := 0; i < len(c.recordings.Sequences); i += every {
		some.Sequences, raws = append(some.Sequences, c.recordings.Sequences[i]),
			append(raws, c.raw[i])
	}
	parts := make([]*momentSum, len(some.Sequences))
	dataset.EachBatch(&some, func(indices []int, sequences []*dataset.Sequence) {
		sums, raw := make([]*momentSum, len(indices)), make([][]float64, len(indices))
		for k, i := range indices {
			parts[i] = newMomentSum(d.Inputs + d.Outputs)
			sums[k], raw[k] = parts[i], raws[i]
		}
		n.gatherMissing(sums, d, sequences, raw)
	})
	sum := newMomentSum(d.Inputs + d.Outputs)
	for _, part := range parts {
		sum.merge(part)
	}
	return corrected(d, sum.moments())
}

// refitSteps is about the most steps that a layer is fitted on: of longer recordings some
// sequences, spread over all. Our choice: 64 inputs have 300 steps each.
const refitSteps = 20000

// gatherMissing adds (v, y - W v) of every step of some sequences, each to its own sum. raw holds
// the outputs y of the float network.
func (n *Network) gatherMissing(sums []*momentSum, d *model.Dense, sequences []*dataset.Sequence,
	raw [][]float64) {
	both := make([]float64, d.Inputs+d.Outputs)
	one := 1 / scale(n.head().InputFraction)
	n.visit(sequences, func(sequence, step int, beforeHead, _ []int32) {
		for i, v := range beforeHead {
			both[i] = float64(v) * one
		}
		for o, want := range raw[sequence][step*d.Outputs : (step+1)*d.Outputs] {
			missing := want - d.B[o]
			for i, v := range both[:d.Inputs] {
				missing -= float64(d.W[o*d.Inputs+i] * v)
			}
			both[d.Inputs+o] = missing
		}
		sums[sequence].add(both)
	})
}

// beforeHead returns the vector that the last dense layer multiplied in the step before.
func (s *State) beforeHead() []int32 {
	if len(s.dense) > 0 {
		return s.dense[len(s.dense)-1]
	}
	return s.layers[len(s.layers)-1].view
}

// corrected returns the layer with the regression added; m holds the moments of (v, y - W v).
func corrected(d *model.Dense, m *Moments) *model.Dense {
	n := d.Inputs
	covariance := mat.NewSymDense(n, nil)
	trace := 0.0
	for i := range n {
		trace += m.Covariance.At(i, i)
		for j := i; j < n; j++ {
			covariance.SetSym(i, j, m.Covariance.At(i, j))
		}
	}
	for i := range n {
		covariance.SetSym(i, i, covariance.At(i, i)+damping*trace/float64(n))
	}
	factor, ok := portable.Cholesky(covariance)
	if !ok {
		return d // the inputs never change
	}
	c := &model.Dense{Inputs: n, Outputs: d.Outputs, W: slices.Clone(d.W), B: slices.Clone(d.B),
		Activation: d.Activation}
	for o := range d.Outputs {
		add := make([]float64, n)
		for i := range n {
			add[i] = m.Covariance.At(i, n+o)
		}
		factor.Solve(add)
		c.B[o] += m.Mean[n+o]
		for i := range n {
			c.W[o*n+i] += add[i]
			c.B[o] -= float64(add[i] * m.Mean[i])
		}
	}
	return c
}
