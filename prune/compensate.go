package prune

import (
	"slices"

	"kerf/dataset"
	"kerf/model"
)

// Method says what takes the place of what a cut removes.
type Method int

const (
	// MeanFolding holds it at its mean, see [Cut].
	MeanFolding Method = iota
	// Reconstruction predicts it, step by step, from what stays: by ridge
	// regression, whose coefficients are folded into the weights. For
	// recurrent networks see Furuya et al. 2021, "Spectral pruning for recurrent
	// neural networks".
	Reconstruction
	// Refit reconstructs, and then fits the first dense layer anew to what the
	// whole network gives there, on the states of the network that was cut.
	Refit
)

// Methods lists them from the least to the most that is done.
var Methods = []Method{MeanFolding, Reconstruction, Refit}

// String names the method as reports print it, in a row with the one before it.
func (m Method) String() string {
	return [...]string{"mean folding", "reconstruction", "with refit"}[m]
}

// Statistics are what a network shows on the selection recordings: all that is
// needed to replace whatever a cut removes.
type Statistics struct {
	Means
	float     *dataset.Float
	selection *dataset.Recordings
	prepared  *dataset.Prepared // selection, for the states of smaller networks
	// per recurrent layer, over its input, its state before the step and, where it is read, that
	// state times the reset gate
	layers []*folds
	state  *folds // of the last layer, after the step
	// per sequence: the first dense layer before its activation [steps × outputs]
	heads [][]float64
}

// MeasureStatistics runs the network over the selection recordings, on all
// cores; the result does not depend on their number.
func MeasureStatistics(p *dataset.Float, selection *dataset.Recordings) *Statistics {
	n := len(selection.Sequences)
	s := &Statistics{Means: MeasureMeans(p, selection), float: p, selection: selection,
		prepared: dataset.Prepare(p, selection, nil), heads: make([][]float64, n)}
	layers := make([][]*gram, len(p.Net.Recurrent))
	for i := range layers {
		layers[i] = make([]*gram, n)
	}
	states := make([]*gram, n)
	dataset.EachSequence(selection, func(i int, sequence *dataset.Sequence) {
		grams := make([]*gram, len(layers))
		for l, layer := range p.Net.Recurrent {
			grams[l] = newGram(siteSize(layer))
			layers[l][i] = grams[l]
		}
		states[i] = newGram(p.Net.Dense[0].Inputs)
		s.heads[i] = s.visit(sequence, grams, states[i])
	})
	for l, layer := range p.Net.Recurrent {
		s.layers = append(s.layers, newFolds(siteSize(layer), selection, layers[l]))
	}
	s.state = newFolds(p.Net.Dense[0].Inputs, selection, states)
	return s
}

// siteSize counts what the rows of a layer read.
func siteSize(l *model.Recurrent) int {
	if l.Kind == model.GRUResetBefore {
		return l.Inputs + 2*l.Units
	}
	return l.Inputs + l.Units
}

// visit adds one sequence to the moments and returns what the first dense layer
// gives before its activation.
func (s *Statistics) visit(sequence *dataset.Sequence, layers []*gram, state *gram) []float64 {
	net := s.float.Net
	d := net.Dense[0]
	head := make([]float64, 0, sequence.Steps*d.Outputs)
	x := make([]float64, net.Inputs())
	before := make([][]float64, len(net.Recurrent))
	products := make([][]float64, len(net.Recurrent)) // state times reset gate
	for l, layer := range net.Recurrent {
		before[l] = make([]float64, layer.Units)
		if layer.Kind == model.GRUResetBefore {
			products[l] = make([]float64, layer.Units)
		}
	}
	s.float.Visit(sequence, func(step int, run *model.Run, _ []float64) {
		s.float.Normalise(sequence.X[step*s.selection.Features:(step+1)*s.selection.Features], x)
		input := x
		for l := range net.Recurrent {
			if products[l] != nil {
				for j, r := range run.Gate(l, 0) {
					products[l][j] = r * before[l][j]
				}
			}
			layers[l].add(input, before[l], products[l])
			input = run.State(l)
		}
		for l := range net.Recurrent {
			copy(before[l], run.State(l))
		}
		state.add(input)
		for o := range d.Outputs {
			sum := d.B[o]
			for j, w := range d.W[o*d.Inputs : (o+1)*d.Inputs] {
				sum += float64(w * input[j])
			}
			head = append(head, sum)
		}
	})
	return head
}

// gate predicts removed inputs and states from those that stay: together where
// their products meet in one sum. In the candidate of a reset-after GRU the
// reset gate stands between them, and each is predicted from its own kind.
func (s *Statistics) gate(l *model.Recurrent, layer, gate int, inputs, units []int) replacement {
	return s.gateWith((*folds).bestPrediction, l, layer, gate, inputs, units)
}

// gateWith is gate with a way to predict values from others.
func (s *Statistics) gateWith(predict func(f *folds, kept, gone []int,
	readers []float64) replacement, l *model.Recurrent, layer, gate int, inputs,
	units []int) replacement {
	f := s.layers[layer]
	goneInputs, goneUnits := Without(l.Inputs, inputs...), Without(l.Units, units...)
	readers := func(inputs, states []int) []float64 {
		var w []float64
		for _, j := range units {
			row := gate*l.Units + j
			for _, i := range inputs {
				w = append(w, l.W[row*l.Inputs+i])
			}
			for _, k := range states {
				w = append(w, l.U[row*l.Units+k])
			}
		}
		return w
	}
	if l.Kind == model.GRUResetAfter && gate == candidateGate {
		in := predict(f, inputs, goneInputs, readers(goneInputs, nil))
		state := predict(f, shifted(units, l.Inputs), shifted(goneUnits, l.Inputs),
			readers(nil, goneUnits))
		return in.beside(state, 0)
	}
	first := l.Inputs // of the states in the moments
	if l.Kind == model.GRUResetBefore && gate == candidateGate {
		first += l.Units // of the states times the reset gate
	}
	r := predict(f, slices.Concat(inputs, shifted(units, first)),
		slices.Concat(goneInputs, shifted(goneUnits, first)), readers(goneInputs, goneUnits))
	r.kept, r.gone = slices.Concat(inputs, shifted(units, l.Inputs)),
		slices.Concat(goneInputs, shifted(goneUnits, l.Inputs))
	return r
}

func (s *Statistics) head(d *model.Dense, _ int, units []int) replacement {
	gone := Without(d.Inputs, units...)
	var readers []float64
	for o := range d.Outputs {
		for _, j := range gone {
			readers = append(readers, d.W[o*d.Inputs+j])
		}
	}
	return s.state.bestPrediction(units, gone, readers)
}

func shifted(indices []int, by int) []int {
	moved := make([]int, len(indices))
	for i, k := range indices {
		moved[i] = k + by
	}
	return moved
}

// Cut removes features and units from the network that was measured, by the
// given method. Indices are those of [Cut]. Keeping everything returns an equal
// network.
func (s *Statistics) Cut(features []int, units [][]int, method Method) *dataset.Float {
	var f filling = s
	if method == MeanFolding {
		f = s.Means
	}
	small := s.cutWith(f, features, units)
	if method == Refit && small.Net.Parameters() < s.float.Net.Parameters() {
		s.refit(small)
	}
	return small
}

func (s *Statistics) cutWith(f filling, features []int, units [][]int) *dataset.Float {
	return &dataset.Float{Net: cut(s.float.Net, features, units, f), Features: s.float.Features,
		Kept: features, Outputs: s.float.Outputs, Classes: s.float.Classes}
}

// CutAndRun cuts by [Refit], and returns what the network predicts on every selection sequence as
// well, in physical units [steps × outputs]: fitting has run it already, in float32, so this is for
// choosing between candidates.
func (s *Statistics) CutAndRun(features []int, units [][]int) (*dataset.Float, [][]float64) {
	small := s.cutWith(s, features, units)
	predicted := make([][]float64, len(s.selection.Sequences))
	if small.Net.Parameters() == s.float.Net.Parameters() {
		dataset.EachSequence(s.selection, func(i int, sequence *dataset.Sequence) {
			predicted[i] = make([]float64, sequence.Steps*len(small.Outputs))
			small.Predict(sequence, predicted[i])
		})
		return small, predicted
	}
	states := s.refit(small)
	dataset.EachSequence(s.selection, func(i int, sequence *dataset.Sequence) {
		predicted[i] = make([]float64, sequence.Steps*len(small.Outputs))
		run := small.Net.NewRun()
		outputs, inputs := len(small.Outputs), small.Net.Dense[0].Inputs
		for step := range sequence.Steps {
			y := predicted[i][step*outputs : (step+1)*outputs]
			run.Finish(states[i][step*inputs:(step+1)*inputs], y)
			small.Physical(y)
		}
	})
	return small, predicted
}

// Sketch cuts by [Reconstruction] with one ridge strength for everything, which takes a small part
// of the time: good enough to compare what might be cut next.
func (s *Statistics) Sketch(features []int, units [][]int) *dataset.Float {
	return s.cutWith(sketch{s}, features, units)
}

// sketch fills like the statistics, with sketchStrength throughout.
type sketch struct{ *Statistics }

// sketchStrength is the middle of the strengths that are tried.
const sketchStrength = 1e-3

func (s sketch) gate(l *model.Recurrent, layer, gate int, inputs, units []int) replacement {
	return s.Statistics.gateWith(sketched, l, layer, gate, inputs, units)
}

func (s sketch) head(d *model.Dense, _ int, units []int) replacement {
	return s.state.all.predict(units, Without(d.Inputs, units...), sketchStrength)
}

func sketched(f *folds, kept, gone []int, _ []float64) replacement {
	return f.all.predict(kept, gone, sketchStrength)
}

// refit adds to the first dense layer of a smaller network what makes it give what the whole
// network gives there: ridge regression of the difference on the states that the smaller network
// really has. It returns these, in float32, per sequence [steps × units].
func (s *Statistics) refit(small *dataset.Float) [][]float64 {
	d := small.Net.Dense[0]
	n := len(s.selection.Sequences)
	grams, states, missing := make([]*gram, n), make([][]float64, n), make([][]float64, n)
	for i, sequence := range s.selection.Sequences {
		grams[i], missing[i] = newGram(d.Inputs+d.Outputs), make([]float64, d.Outputs)
		states[i] = make([]float64, 0, sequence.Steps*d.Inputs)
	}
	s.prepared.VisitStates(small, func(i, step int, state []float64) {
		states[i] = append(states[i], state...)
		for o := range d.Outputs {
			sum := d.B[o]
			for j, w := range d.W[o*d.Inputs : (o+1)*d.Inputs] {
				sum += float64(w * state[j])
			}
			missing[i][o] = s.heads[i][step*d.Outputs+o] - sum
		}
		grams[i].add(state, missing[i])
	})
	f := newFolds(d.Inputs+d.Outputs, s.selection, grams)
	for o := range d.Outputs {
		r := f.bestPrediction(count(d.Inputs), []int{d.Inputs + o}, []float64{1})
		d.B[o] += r.offset[0]
		for j, v := range r.slope {
			d.W[o*d.Inputs+j] += v
		}
	}
	return states
}
