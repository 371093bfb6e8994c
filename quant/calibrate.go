package quant

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"kerf/dataset"
	"kerf/model"
)

// Calibration holds what formats and rounding are chosen from: what a float
// network shows on selection recordings.
type Calibration struct {
	Input    float64      // largest magnitude of a normalised feature
	Features []float64    // the same of each feature
	Layers   []LayerRange // per recurrent layer
	Dense    []DenseRange // per dense layer

	recordings *dataset.Recordings // that it comes from
	raw        [][]float64         // raw outputs of the float network, per sequence steps × outputs
}

// LayerRange is what one recurrent layer shows.
type LayerRange struct {
	Gate   float64  // largest magnitude of a pre-activation part: W x + b or U h + d
	State  float64  // of the hidden state
	Cell   float64  // of the cell, LSTM only
	Inputs *Moments // of what W multiplies
	States *Moments // of what U multiplies

	// second moments of what a row does to the state of its unit, see follow.go; nil for a large
	// layer
	Followed []*mat.SymDense
	// steps that a unit remembers: 1/(1 - mean of its update or forget gate); nil for Elman
	Memory []float64
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
	followed              []*followed
	kept                  [][]float64 // sum of the update or forget gate
	steps                 float64
}

// newSums begins with nothing seen; without moments only ranges are gathered.
func newSums(net *model.Network, moments bool) *sums {
	s := &sums{Calibration: Calibration{Features: make([]float64, net.Inputs()),
		Layers: make([]LayerRange, len(net.Recurrent)), Dense: make([]DenseRange, len(net.Dense))}}
	if !moments {
		return s
	}
	for _, l := range net.Recurrent {
		s.inputs, s.states = append(s.inputs, newMomentSum(l.Inputs)),
			append(s.states, newMomentSum(l.Units))
		s.followed, s.kept = append(s.followed, newFollowed(l)),
			append(s.kept, make([]float64, l.Units))
	}
	for _, d := range net.Dense {
		s.dense = append(s.dense, newMomentSum(d.Inputs))
	}
	return s
}

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
		if s.inputs == nil {
			continue
		}
		s.inputs[i].merge(o.inputs[i])
		s.states[i].merge(o.states[i])
		if s.followed[i] != nil {
			s.followed[i].merge(o.followed[i])
		}
		for j, v := range o.kept[i] {
			s.kept[i][j] += v
		}
	}
	for i, r := range o.Dense {
		s.Dense[i].Value = math.Max(s.Dense[i].Value, r.Value)
		if s.dense != nil {
			s.dense[i].merge(o.dense[i])
		}
	}
}

// calibrationParts is into how many parts the sequences are dealt: few, because
// every part holds moments of its own, and always as many, because sums of
// floating-point numbers depend on their order.
const calibrationParts = 4

// Calibrate reads ranges and moments of a float network from selection
// recordings.
func Calibrate(p *dataset.Float, selection *dataset.Recordings) Calibration {
	total, raw := gathered(p, selection, true)
	c := total.Calibration
	c.recordings, c.raw = selection, raw
	for i := range c.Layers {
		l := &c.Layers[i]
		l.Inputs, l.States = total.inputs[i].moments(), total.states[i].moments()
		l.Followed = total.followed[i].rows()
		if keepGate(p.Net.Recurrent[i].Kind) >= 0 {
			for _, sum := range total.kept[i] {
				l.Memory = append(l.Memory, 1/(1-sum/total.steps))
			}
		}
	}
	for i := range c.Dense {
		c.Dense[i].Inputs = total.dense[i].moments()
	}
	return c
}

// CalibrateRanges is [Calibrate] without moments and memory, in about a third of the time: all that
// [Nearest] needs.
func CalibrateRanges(p *dataset.Float, selection *dataset.Recordings) Calibration {
	total, _ := gathered(p, selection, false)
	return total.Calibration
}

// gathered adds up what all sequences show, and returns the raw outputs of each.
func gathered(p *dataset.Float, selection *dataset.Recordings,
	moments bool) (total *sums, raw [][]float64) {
	all := selection.Sequences
	raw = make([][]float64, len(all))
	parts := make([]*sums, min(calibrationParts, len(all)))
	dataset.EachSequence(&dataset.Recordings{Sequences: all[:len(parts)]},
		func(part int, _ *dataset.Sequence) {
			parts[part] = newSums(p.Net, moments)
			for i := part; i < len(all); i += calibrationParts {
				raw[i] = parts[part].gather(p, all[i], selection.Features)
			}
		})
	total = newSums(p.Net, moments)
	for _, part := range parts {
		total.merge(part)
	}
	return total, raw
}

// keepGate is the gate that says what share of the old state is kept, -1 for none.
func keepGate(k model.Kind) int {
	if k == model.ElmanTanh || k == model.ElmanReLU {
		return -1
	}
	return 1
}

// gather walks one sequence and returns the raw outputs.
func (t *sums) gather(p *dataset.Float, s *dataset.Sequence, features int) []float64 {
	raw := make([]float64, 0, s.Steps*len(p.Outputs))
	for _, f := range t.followed {
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
			r.Gate = math.Max(r.Gate,
				math.Max(largestPart(l.W, l.B, in), largestPart(l.U, l.D, before[i])))
			if t.inputs != nil {
				t.addMoments(step, run, i, l.Kind, in, before[i])
			}
			in = run.State(i)
			r.State = math.Max(r.State, largest(in))
			r.Cell = math.Max(r.Cell, largest(run.Cell(i)))
			copy(before[i], in)
		}
		for i, d := range p.Net.Dense {
			t.Dense[i].Value = math.Max(t.Dense[i].Value, largestPart(d.W, d.B, in))
			if t.dense != nil {
				t.dense[i].add(in)
			}
			in = run.Dense(i)
		}
	})
	return raw
}

// addMoments takes in what a step multiplies in a recurrent layer.
func (t *sums) addMoments(step int, run *model.Run, layer int, kind model.Kind, in,
	before []float64) {
	t.inputs[layer].add(in)
	t.states[layer].add(before)
	if t.followed[layer] != nil {
		t.followed[layer].add(step, run, layer, in, before)
	}
	if gate := keepGate(kind); gate >= 0 {
		for j, keep := range run.Gate(layer, gate) {
			t.kept[layer][j] += keep
		}
	}
}

// largestPart is the largest magnitude of w v + b. Four rows at once keep four sums in flight; each
// sum has the order and the bits of [model.Run.Step].
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
