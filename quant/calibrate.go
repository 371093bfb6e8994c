package quant

import (
	"math"
	"slices"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/model"
	"kerf/portable"
)

// Calibration holds the figures that formats and rounding are chosen from: what a float network
// shows on selection recordings.
type Calibration struct {
	Input    float64      // largest magnitude of any normalised feature
	Features []float64    // largest magnitude of each normalised feature
	Layers   []LayerRange // per recurrent layer
	Dense    []DenseRange // per dense layer

	// FrontEnd is what networks that are quantized with this calibration take computed features
	// from, where a sequence has samples; encodings do not count. A calibration has none by itself.
	FrontEnd *frontend.Integer

	recordings *dataset.Recordings // the recordings that the calibration comes from
	raw        [][]float64         // raw outputs of the float network, per sequence steps × outputs
}

// LayerRange holds the ranges and moments of one recurrent layer.
type LayerRange struct {
	Gate   float64  // largest magnitude of a pre-activation part: W x + b or U h + d
	State  float64  // largest magnitude of the hidden state
	Cell   float64  // largest magnitude of the cell, LSTM only
	Inputs *Moments // of the inputs, which W multiplies
	States *Moments // of the state before the step, which U multiplies

	// Followed has, per row, the second moments of its eligibility trace φ: what an error of a
	// weight has done to the state of the unit so far. It is nil for a layer whose moments would
	// take more than 32 MB.
	Followed []halfMatrix
	// Memory has, per unit, how many steps the unit remembers: 1/(1 - mean of its update or forget
	// gate). It is nil for Elman layers.
	Memory []float64
}

// DenseRange holds the range and moments of one dense layer.
type DenseRange struct {
	Value  float64  // largest magnitude before the activation
	Inputs *Moments // of the inputs, which W multiplies
}

// sums gathers the figures of a calibration over some sequences.
type sums struct {
	Calibration
	inputs, states, dense []*momentSum
	traces                []*traceSum
	keeps                 [][]float64 // per unit: sum of its update or forget gate
	steps                 float64
}

// newSums returns sums of no step yet, of recordings with so many steps.
func newSums(net *model.Network, steps int) *sums {
	s := &sums{Calibration: Calibration{Features: make([]float64, net.Inputs()),
		Layers: make([]LayerRange, len(net.Recurrent)), Dense: make([]DenseRange, len(net.Dense))}}
	for _, l := range net.Recurrent {
		s.inputs, s.states = append(s.inputs, newMomentSum(l.Inputs)),
			append(s.states, newMomentSum(l.Units))
		s.traces, s.keeps = append(s.traces, newTraceSum(l, steps)),
			append(s.keeps, make([]float64, l.Units))
	}
	for _, d := range net.Dense {
		s.dense = append(s.dense, newMomentSum(d.Inputs))
	}
	return s
}

// merge adds the figures of other sequences.
func (s *sums) merge(o *sums) {
	s.Input = math.Max(s.Input, o.Input)
	s.steps += o.steps
	for i, v := range o.Features {
		s.Features[i] = math.Max(s.Features[i], v)
	}
	for i, r := range o.Layers {
		l := &s.Layers[i]
		l.Gate, l.State, l.Cell = math.Max(l.Gate, r.Gate), math.Max(l.State, r.State),
			math.Max(l.Cell, r.Cell)
		s.inputs[i].merge(o.inputs[i])
		s.states[i].merge(o.states[i])
		if s.traces[i] != nil {
			s.traces[i].merge(o.traces[i])
		}
		for j, v := range o.keeps[i] {
			s.keeps[i][j] += v
		}
	}
	for i, r := range o.Dense {
		s.Dense[i].Value = math.Max(s.Dense[i].Value, r.Value)
		s.dense[i].merge(o.dense[i])
	}
}

// calibrationParts is the most parts that the sequences of a fold are dealt into, one per core.
// Their number follows from the network alone, because sums of floating-point numbers depend on
// their order.
const calibrationParts = 4

// calibrationBytes bounds the moments of all parts of a fold, where these are more than one: each
// holds moments of its own. Our choice.
const calibrationBytes = 16 << 20

// partsOf returns how many parts the sequences of a fold are dealt into.
func partsOf(net *model.Network) int {
	bytes := 0
	for _, l := range net.Recurrent {
		rows, size := l.Kind.Gates()*l.Units, portable.Padded(l.Inputs+1)+portable.Padded(l.Units+1)
		if !beyondTraces(l) {
			bytes += 8 * rows * size * size
		}
	}
	return max(1, min(calibrationParts, calibrationBytes/max(1, bytes)))
}

// Calibrate reads ranges and moments of a float network from selection recordings. It runs every
// sequence once; the result does not depend on the number of cores.
func Calibrate(p *dataset.Float, selection *dataset.Recordings) Calibration {
	all, _ := CalibrateFolds(p, selection, make([]int, len(selection.Sequences)), 1)
	return all
}

// CalibrateFolds is [Calibrate] for selection recordings whose sequences are dealt into one fold or
// two; fold has that of every sequence, and each has one at least. It returns the calibration on
// all recordings, and where there are two folds for each the one on the recordings without it.
func CalibrateFolds(p *dataset.Float, selection *dataset.Recordings, fold []int,
	folds int) (all Calibration, without []Calibration) {
	dealt := make([][]int, folds) // the sequences of every fold
	for i, f := range fold {
		dealt[f] = append(dealt[f], i)
	}
	most, steps := partsOf(p.Net), selection.Steps()
	raw := make([][]float64, len(fold))
	parts := make([][]*sums, folds)
	for f := range parts {
		parts[f] = make([]*sums, min(most, len(dealt[f])))
	}
	dataset.InParallel(folds*most, func(job int) {
		f, part := job/most, job%most
		if part >= len(parts[f]) {
			return
		}
		parts[f][part] = newSums(p.Net, steps)
		for at := part; at < len(dealt[f]); at += most {
			i := dealt[f][at]
			raw[i] = parts[f][part].gather(p, selection.Sequences[i], selection.Features)
		}
	})
	totals := make([]*sums, folds)
	for f, ofFold := range parts {
		totals[f] = ofFold[0]
		for _, part := range ofFold[1:] {
			totals[f].merge(part)
		}
	}
	parts = nil
	if folds == 2 {
		for k := range totals {
			rest, some := *selection, [][]float64{}
			rest.Sequences = nil
			for _, i := range dealt[1-k] {
				rest.Sequences, some = append(rest.Sequences, selection.Sequences[i]),
					append(some, raw[i])
			}
			without = append(without, totals[1-k].calibration(p.Net, &rest, some))
		}
	}
	for f, other := range totals[1:] {
		totals[0].merge(other)
		totals[1+f] = nil // its moments make room
	}
	return totals[0].calibration(p.Net, selection, raw), without
}

// calibration makes a calibration of the sums over recordings; raw has the raw outputs of the
// network.
func (s *sums) calibration(net *model.Network, rec *dataset.Recordings,
	raw [][]float64) Calibration {
	c := s.Calibration
	c.Features, c.recordings, c.raw = slices.Clone(s.Features), rec, raw
	c.Layers, c.Dense = slices.Clone(s.Layers), slices.Clone(s.Dense)
	for i := range c.Layers {
		l := &c.Layers[i]
		l.Inputs, l.States = s.inputs[i].moments(), s.states[i].moments()
		l.Followed = s.traces[i].rows()
		if keepGate(net.Recurrent[i].Kind) >= 0 {
			for _, sum := range s.keeps[i] {
				l.Memory = append(l.Memory, 1/(1-sum/s.steps))
			}
		}
	}
	for i := range c.Dense {
		c.Dense[i].Inputs = s.dense[i].moments()
	}
	return c
}

// Predicted returns the predictions of the float network for each sequence of the recordings that
// the calibration comes from, [steps × outputs] in physical units; p is that network.
func (c Calibration) Predicted(p *dataset.Float) [][]float64 {
	all := make([][]float64, len(c.raw))
	for i, raw := range c.raw {
		all[i] = slices.Clone(raw)
		for y := all[i]; len(y) > 0; y = y[len(p.Outputs):] {
			p.Physical(y[:len(p.Outputs)])
		}
	}
	return all
}

// keepGate returns the index of the gate that says which share of the old state is kept, -1 for a
// layer without one.
func keepGate(k model.Kind) int {
	if k == model.ElmanTanh || k == model.ElmanReLU {
		return -1
	}
	return 1
}

// gather runs one sequence and returns the raw outputs [steps × outputs].
func (t *sums) gather(p *dataset.Float, s *dataset.Sequence, features int) []float64 {
	raw := make([]float64, 0, s.Steps*len(p.Outputs))
	for _, f := range t.traces {
		if f != nil {
			f.begin()
		}
	}
	x := make([]float64, len(p.Kept))
	before := make([][]float64, len(p.Net.Recurrent)) // states that enter a step; zero at first
	for i, l := range p.Net.Recurrent {
		before[i] = make([]float64, l.Units)
	}
	p.Visit(s, func(step int, run *model.Run, outputs []float64) {
		raw = append(raw, outputs...)
		t.steps++
		p.Normalise(s.X[step*features:(step+1)*features], x)
		t.Input = math.Max(t.Input, largest(x))
		for i, v := range x {
			t.Features[i] = math.Max(t.Features[i], math.Abs(v))
		}
		in := x
		for i, l := range p.Net.Recurrent {
			r := &t.Layers[i]
			recurrent := largest(run.RecurrentPart(i))
			if l.Kind == model.GRUResetBefore {
				recurrent = largestPart(l.U, l.D, before[i]) // of the states without reset
			}
			r.Gate = math.Max(r.Gate, math.Max(largest(run.InputPart(i)), recurrent))
			t.addMoments(step, run, i, l.Kind, in, before[i])
			in = run.State(i)
			r.State = math.Max(r.State, largest(in))
			r.Cell = math.Max(r.Cell, largest(run.Cell(i)))
			copy(before[i], in)
		}
		for i, d := range p.Net.Dense {
			value := largest(run.Dense(i))
			if d.Activation != model.Identity {
				value = largestPart(d.W, d.B, in)
			}
			t.Dense[i].Value = math.Max(t.Dense[i].Value, value)
			t.dense[i].add(in)
			in = run.Dense(i)
		}
	})
	return raw
}

// addMoments adds the vectors that a recurrent layer multiplied in one step: its inputs and the
// state before the step.
func (t *sums) addMoments(step int, run *model.Run, layer int, kind model.Kind, in,
	before []float64) {
	t.inputs[layer].add(in)
	t.states[layer].add(before)
	if t.traces[layer] != nil {
		t.traces[layer].add(step, run, layer, in, before)
	}
	if gate := keepGate(kind); gate >= 0 {
		for j, keep := range run.Gate(layer, gate) {
			t.keeps[layer][j] += keep
		}
	}
}

// largestPart returns the largest magnitude of w v + b. Four rows at once keep four sums in flight;
// each sum has the order and the bits of [model.Run.Step].
func largestPart(w, b, v []float64) float64 {
	top, n := 0.0, len(v)
	for ; len(b) >= 4; b, w = b[4:], w[4*n:] {
		w0, w1, w2, w3 := w[:n], w[n:2*n], w[2*n:3*n], w[3*n:4*n]
		s0, s1, s2, s3 := b[0], b[1], b[2], b[3]
		for c, x := range v {
			s0 += float64(w0[c] * x)
			s1 += float64(w1[c] * x)
			s2 += float64(w2[c] * x)
			s3 += float64(w3[c] * x)
		}
		top = max(top, math.Abs(s0), math.Abs(s1), math.Abs(s2), math.Abs(s3))
	}
	for ; len(b) > 0; b, w = b[1:], w[n:] {
		sum := b[0]
		for c, x := range v {
			sum += float64(w[c] * x)
		}
		top = max(top, math.Abs(sum))
	}
	return top
}
