package quant

import (
	"math"

	"kerf/dataset"
)

// State is the hidden state of one sequence and the scratch of a step.
type State struct {
	H      []int32 // Units; Q15 or Q30, see Formats.StateBits
	view   []int32 // Units; the state with 15 fraction bits, what the matrices multiply
	next   []int32
	Counts *Counts // counts what happens inside the steps when not nil
}

// NewState returns a zero state.
func (n *Network) NewState() *State {
	return &State{H: make([]int32, n.Units), view: make([]int32, n.Units), next: make([]int32, n.Units)}
}

// Reset zeroes the state, as at the start of a sequence.
func (s *State) Reset() {
	clear(s.H)
}

// Step runs one time step: x [features] as int16 values with InputFraction bits,
// y [outputs] as int32 values with OutputFraction bits each.
func (n *Network) Step(s *State, x, y []int32) {
	units := n.Units
	shift := n.TableShift()
	wide := n.Formats.StateBits == 32
	for j, h := range s.H {
		if wide {
			h = narrowQ15(h)
		}
		s.view[j] = h
	}
	for j := range units {
		inR, inZ, inN := n.Input.gates(j, units, x)
		reR, reZ, reN := n.Recurrent.gates(j, units, s.view)
		reset := logisticQ16(sat16(inR+reR), shift)
		keep := logisticQ16(sat16(inZ+reZ), shift)
		candidate := tanhQ15(sat16(inN+resetQ(reset, reN)), shift)
		if wide {
			s.next[j] = blendQ30(keep, s.H[j], candidate)
		} else {
			s.next[j] = blendQ15(keep, s.H[j], candidate)
		}
		if s.Counts != nil {
			s.Counts.unit(n, j, s.H[j], s.next[j], keep, candidate, [6]int32{inR, inZ, inN, reR, reZ, reN})
		}
	}
	s.H, s.next = s.next, s.H
	for j, h := range s.H {
		if wide {
			h = narrowQ15(h)
		}
		s.view[j] = h
	}
	for o := range y {
		row := n.Head.W[o*units : (o+1)*units]
		sum := n.Head.Bias[o]
		for j, h := range s.view {
			sum += row[j] * h
		}
		y[o] = sum
	}
}

// gates is the rescaled and saturated result of the three rows of unit j.
func (m *Matrix) gates(j, units int, v []int32) (r, z, c int32) {
	cols := len(v)
	j0, j1, j2 := j, units+j, 2*units+j
	w0 := m.W[j0*cols : j0*cols+cols]
	w1 := m.W[j1*cols : j1*cols+cols]
	w2 := m.W[j2*cols : j2*cols+cols]
	w0, w1, w2 = w0[:len(v)], w1[:len(v)], w2[:len(v)]
	s0, s1, s2 := m.Bias[j0], m.Bias[j1], m.Bias[j2]
	for i, x := range v {
		s0 += w0[i] * x
		s1 += w1[i] * x
		s2 += w2[i] * x
	}
	return sat16(roundShift(s0, m.Shift[j0])), sat16(roundShift(s1, m.Shift[j1])), sat16(roundShift(s2, m.Shift[j2]))
}

// Encode turns one step of recorded features (all columns, physical units) into
// the integers that Step takes. It is the float32 arithmetic of the emitted
// NAME_encode: values beyond the range saturate, NaN becomes the mean.
func (n *Network) Encode(row []float64, x []int32) (saturated int) {
	for i, c := range n.Columns {
		mean, factor := n.EncodeConstants(i)
		v := float32(float32(row[c])-mean) * factor
		switch {
		case v != v:
			x[i] = 0
		case v >= maxInt16:
			x[i] = maxInt16
			saturated++
		case v <= minInt16:
			x[i] = minInt16
			saturated++
		case v >= 0:
			x[i] = int32(float32(v + 0.5))
		default:
			x[i] = -int32(float32(0.5 - v))
		}
	}
	return saturated
}

// EncodeConstants are mean and factor of kept feature i: the integer is
// (physical - mean)·factor, rounded.
func (n *Network) EncodeConstants(i int) (mean, factor float32) {
	f := n.Features[i]
	return float32(f.Mean), float32(scale(n.InputFraction) / f.Std)
}

// Decode turns the integers of a step into physical units.
func (n *Network) Decode(y []int32, physical []float64) {
	for o, v := range y {
		physical[o] = math.Ldexp(float64(v), -n.OutputFraction(o))
	}
}

// Predict implements [dataset.Predictor].
func (n *Network) Predict(s *dataset.Sequence, dst []float64) {
	n.run(s, n.NewState(), dst)
}

// run scores a sequence from the given state and returns the
// number of feature values beyond the range of the input format.
func (n *Network) run(s *dataset.Sequence, state *State, dst []float64) (saturated int) {
	columns := len(s.X) / s.Steps
	x := make([]int32, len(n.Features))
	y := make([]int32, len(n.Outputs))
	for step := range s.Steps {
		saturated += n.Encode(s.X[step*columns:(step+1)*columns], x)
		n.Step(state, x, y)
		n.Decode(y, dst[step*len(y):(step+1)*len(y)])
	}
	return saturated
}
