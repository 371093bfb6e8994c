package quant

import (
	"math"

	"kerf/dataset"
	"kerf/model"
)

// Calibration holds what formats and rounding are chosen from: what a float
// network shows on selection recordings.
type Calibration struct {
	Input  float64      // largest magnitude of a normalised feature
	Layers []LayerRange // per recurrent layer
	Dense  []DenseRange // per dense layer
}

// LayerRange is what one recurrent layer shows.
type LayerRange struct {
	Gate   float64  // largest magnitude of a pre-activation part: W x + b or U h + d
	State  float64  // of the hidden state
	Cell   float64  // of the cell, LSTM only
	Inputs *Moments // of what W multiplies
	States *Moments // of what U multiplies
}

// DenseRange is what one dense layer shows.
type DenseRange struct {
	Value  float64  // largest magnitude before the activation
	Inputs *Moments // of what W multiplies
}

// sums gathers a calibration over one sequence.
type sums struct {
	Calibration
	inputs, states, dense []*momentSum
}

func newSums(net *model.Network) *sums {
	s := &sums{Calibration: Calibration{Layers: make([]LayerRange, len(net.Recurrent)), Dense: make([]DenseRange, len(net.Dense))}}
	for _, l := range net.Recurrent {
		s.inputs, s.states = append(s.inputs, newMomentSum(l.Inputs)), append(s.states, newMomentSum(l.Units))
	}
	for _, d := range net.Dense {
		s.dense = append(s.dense, newMomentSum(d.Inputs))
	}
	return s
}

func (s *sums) merge(o *sums) {
	s.Input = math.Max(s.Input, o.Input)
	for i, r := range o.Layers {
		l := &s.Layers[i]
		l.Gate, l.State, l.Cell = math.Max(l.Gate, r.Gate), math.Max(l.State, r.State), math.Max(l.Cell, r.Cell)
		s.inputs[i].merge(o.inputs[i])
		s.states[i].merge(o.states[i])
	}
	for i, r := range o.Dense {
		s.Dense[i].Value = math.Max(s.Dense[i].Value, r.Value)
		s.dense[i].merge(o.dense[i])
	}
}

// Calibrate reads ranges and moments of a float network from selection
// recordings.
func Calibrate(p *dataset.Float, selection *dataset.Recordings) Calibration {
	parts := make([]*sums, len(selection.Sequences))
	dataset.EachSequence(selection, func(i int, s *dataset.Sequence) {
		parts[i] = newSums(p.Net)
		parts[i].gather(p, s, selection.Features)
	})
	total := newSums(p.Net)
	for _, part := range parts {
		total.merge(part)
	}
	c := total.Calibration
	for i := range c.Layers {
		c.Layers[i].Inputs, c.Layers[i].States = total.inputs[i].moments(), total.states[i].moments()
	}
	for i := range c.Dense {
		c.Dense[i].Inputs = total.dense[i].moments()
	}
	return c
}

// gather walks one sequence.
func (t *sums) gather(p *dataset.Float, s *dataset.Sequence, features int) {
	x := make([]float64, len(p.Kept))
	before := make([][]float64, len(p.Net.Recurrent)) // states that enter a step; zero at first
	for i, l := range p.Net.Recurrent {
		before[i] = make([]float64, l.Units)
	}
	p.Visit(s, func(step int, run *model.Run, _ []float64) {
		p.Normalise(s.X[step*features:(step+1)*features], x)
		t.Input = math.Max(t.Input, largest(x))
		in := x
		for i, l := range p.Net.Recurrent {
			r := &t.Layers[i]
			r.Gate = math.Max(r.Gate, math.Max(largestPart(l.W, l.B, in), largestPart(l.U, l.D, before[i])))
			t.inputs[i].add(in)
			t.states[i].add(before[i])
			in = run.State(i)
			r.State = math.Max(r.State, largest(in))
			r.Cell = math.Max(r.Cell, largest(run.Cell(i)))
			copy(before[i], in)
		}
		for i, d := range p.Net.Dense {
			t.Dense[i].Value = math.Max(t.Dense[i].Value, largestPart(d.W, d.B, in))
			t.dense[i].add(in)
			in = run.Dense(i)
		}
	})
}

func largestPart(w, b, v []float64) float64 {
	top := 0.0
	for r := range b {
		sum := b[r]
		for c, x := range v {
			sum += float64(w[r*len(v)+c] * x)
		}
		top = math.Max(top, math.Abs(sum))
	}
	return top
}
