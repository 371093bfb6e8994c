package dataset

import (
	"kerf/model"
)

// Predictor turns the features of a sequence into outputs, both in physical units.
type Predictor interface {
	// Predict runs a sequence from the zero state and writes the outputs to dst [Steps × outputs].
	// It may be called from several goroutines at once.
	Predict(s *Sequence, dst []float64)
}

// SideBySide is a predictor that runs several sequences at once, faster than one after the other
// and with the same results.
type SideBySide interface {
	Predictor
	// PredictAll does what Predict does, for each of the sequences.
	PredictAll(sequences []*Sequence, dst [][]float64)
}

// Float is a [Predictor] that runs a float network in double precision.
type Float struct {
	Net      *model.Network
	Features []Feature // all features of the recordings, in their order
	Kept     []int     // indices of the features that the network takes, in its order
	Outputs  []Output
	Classes  bool // the outputs are the scores of classes
}

// NewFloat returns a predictor for a network that takes every feature.
func NewFloat(net *model.Network, features []Feature, outputs []Output) *Float {
	kept := make([]int, len(features))
	for i := range kept {
		kept[i] = i
	}
	return &Float{Net: net, Features: features, Kept: kept, Outputs: outputs}
}

// Predict implements [Predictor].
func (f *Float) Predict(s *Sequence, dst []float64) {
	f.Visit(s, func(step int, _ *model.Run, raw []float64) {
		y := dst[step*len(f.Outputs) : (step+1)*len(f.Outputs)]
		copy(y, raw)
		f.Physical(y)
	})
}

// Physical replaces the raw outputs of one step by those in physical units.
func (f *Float) Physical(raw []float64) {
	for o, out := range f.Outputs {
		raw[o] = float64(raw[o]*out.Std) + out.Mean
	}
}

// Visit runs the network over a sequence from the zero state. After every step it calls after with
// the run, whose states and gates may be read, and the raw outputs, which the next step overwrites.
func (f *Float) Visit(s *Sequence, after func(step int, run *model.Run, raw []float64)) {
	f.VisitFrom(0, f.Net.NewRun(), s, after)
}

// VisitFrom does what [Float.Visit] does from the given step on, with a run that has the state
// before that step.
func (f *Float) VisitFrom(first int, run *model.Run, s *Sequence,
	after func(step int, run *model.Run, raw []float64)) {
	x := make([]float64, len(f.Kept))
	raw := make([]float64, len(f.Outputs))
	for step := first; step < s.Steps; step++ {
		row := s.X[step*len(f.Features) : (step+1)*len(f.Features)]
		f.Normalise(row, x)
		run.Step(x, raw)
		after(step, run, raw)
	}
}

// Normalise writes the inputs x [Kept] of the network for one step of physical features, row
// [Features].
func (f *Float) Normalise(row, x []float64) {
	for i, k := range f.Kept {
		x[i] = (row[k] - f.Features[k].Mean) / f.Features[k].Std
	}
}
