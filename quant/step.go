package quant

import (
	"math"

	"kerf/dataset"
	"kerf/frontend"
)

// State is the state of one sequence, with the scratch of a step.
type State struct {
	layers []*layerState
	dense  [][]int32 // results of all dense layers but the last
	Counts *Counts   // if not nil, steps count in it what leaves its range
}

// NewState returns a zero state.
func (n *Network) NewState() *State {
	s := &State{}
	for _, l := range n.Layers {
		s.layers = append(s.layers, l.newState())
	}
	for _, d := range n.Dense[:len(n.Dense)-1] {
		s.dense = append(s.dense, make([]int32, d.Weights.Rows))
	}
	return s
}

// Reset zeroes the state, as at the start of a sequence.
func (s *State) Reset() {
	for _, l := range s.layers {
		l.reset()
	}
}

// Hidden returns the hidden state of a layer as matrices multiply it: int16 values with the
// OutputFraction of the layer. The slice holds until the next step.
func (s *State) Hidden(layer int) []int32 { return s.layers[layer].view }

// Step runs one time step. x [features] are int16 values with InputFraction bits; Step sets y
// [outputs] to int32 values with OutputFraction bits each.
func (n *Network) Step(s *State, x, y []int32) {
	v := x
	for i, l := range n.Layers {
		var c *LayerCounts
		if s.Counts != nil {
			c = s.Counts.Layers[i]
		}
		l.step(s.layers[i], v, c)
		v = s.layers[i].view
	}
	for i, d := range n.Dense {
		if d.Last {
			d.step(v, y)
			return
		}
		d.step(v, s.dense[i])
		v = s.dense[i]
	}
}

// Encode turns one step of recorded features (all columns, physical units) into the integers x that
// [Network.Step] takes, and returns how many of them saturated. The arithmetic is the float32
// arithmetic of the emitted NAME_encode: values beyond the range saturate, NaN becomes the mean.
func (n *Network) Encode(row []float64, x []int32) (saturated int) {
	return n.newEncoder().given(row, x)
}

// EncodeStep is [Network.Encode] of a step of a sequence: where the sequence has samples, the
// features that [Network.FrontEnd] computes are what it makes of these.
func (n *Network) EncodeStep(s *dataset.Sequence, step int, x []int32) (saturated int) {
	return n.newEncoder().encode(s, step, x)
}

// encoder holds what [Network.EncodeStep] needs.
type encoder struct {
	columns      []int
	mean, factor []float32
	frontEnd     *frontend.Integer // nil: all features are given
	computed     []int             // per kept feature: the one of frontEnd, -1 for a given one
}

// encode is [Network.EncodeStep].
func (e *encoder) encode(s *dataset.Sequence, step int, x []int32) (saturated int) {
	columns := len(s.X) / s.Steps
	row := s.X[step*columns : (step+1)*columns]
	if e.frontEnd == nil || s.Sampled == nil {
		return e.given(row, x)
	}
	all := len(s.Sampled.Numbers) / s.Steps
	numbers := s.Sampled.Numbers[step*all : (step+1)*all]
	for i, k := range e.computed {
		if k < 0 {
			saturated += e.one(i, row, x)
			continue
		}
		x[i] = int32(e.frontEnd.X(k, numbers[k]))
		if x[i] == maxInt16 || x[i] == minInt16 {
			saturated++
		}
	}
	return saturated
}

// newEncoder computes the constants.
func (n *Network) newEncoder() *encoder {
	e := &encoder{columns: n.Columns, mean: make([]float32, len(n.Columns)),
		factor: make([]float32, len(n.Columns))}
	for i := range e.mean {
		e.mean[i], e.factor[i] = n.EncodeConstants(i)
	}
	if n.FrontEnd != nil {
		e.frontEnd, e.computed = n.FrontEnd, n.computed()
	}
	return e
}

// given is [Network.Encode].
func (e *encoder) given(row []float64, x []int32) (saturated int) {
	for i := range e.columns {
		saturated += e.one(i, row, x)
	}
	return saturated
}

// one is [Network.Encode] of kept feature i.
func (e *encoder) one(i int, row []float64, x []int32) (saturated int) {
	v := float32(float32(float32(row[e.columns[i]])-e.mean[i]) * e.factor[i])
	switch {
	case v != v:
		v = 0
	case v >= maxInt16:
		v = maxInt16
		saturated++
	case v <= minInt16:
		v = minInt16
		saturated++
	}
	half := math.Float32frombits(math.Float32bits(0.5) | math.Float32bits(v)&(1<<31))
	x[i] = int32(float32(v + half)) // towards 0
	return saturated
}

// EncodeConstants returns mean and factor of kept feature i: its integer is (physical -
// mean)·factor, rounded.
func (n *Network) EncodeConstants(i int) (mean, factor float32) {
	f := n.Features[i]
	return float32(f.Mean), float32(scale(n.InputFraction) / f.Std)
}

// Decode turns the integers y of a step into physical units.
func (n *Network) Decode(y []int32, physical []float64) {
	for o, v := range y {
		physical[o] = float64(v) / scale(n.OutputFraction(o))
	}
}

// Predict implements [dataset.Predictor]: it sets dst [steps × outputs] to the outputs of a
// sequence from the zero state, in physical units.
func (n *Network) Predict(s *dataset.Sequence, dst []float64) {
	n.PredictAll([]*dataset.Sequence{s}, [][]float64{dst})
}

// run runs a sequence from the given state, sets dst to its outputs in physical units and returns
// the number of feature values beyond the range of the input format.
func (n *Network) run(s *dataset.Sequence, state *State, dst []float64) (saturated int) {
	x := make([]int32, len(n.Features))
	y := make([]int32, len(n.Outputs))
	encoder := n.newEncoder()
	for step := range s.Steps {
		saturated += encoder.encode(s, step, x)
		n.Step(state, x, y)
		n.Decode(y, dst[step*len(y):(step+1)*len(y)])
	}
	return saturated
}
