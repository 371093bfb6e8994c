package prune

import (
	"slices"
	"strconv"

	"kerf/dataset"
	"kerf/model"
)

// Means holds averages over the selection recordings, in the network as given; they replace removed
// features and units.
type Means struct {
	Features []float64   // normalised, one per feature of the network
	Units    [][]float64 // hidden state, per layer and unit
	// Reset is the hidden state before a step times the reset gate, per layer and unit; nil for a
	// layer that is no reset-before GRU.
	Reset [][]float64
}

// newMeans returns zeros in the shape of a network.
func newMeans(net *model.Network) Means {
	m := Means{Features: make([]float64, net.Inputs())}
	for _, l := range net.Recurrent {
		m.Units = append(m.Units, make([]float64, l.Units))
		var reset []float64
		if l.Kind == model.GRUResetBefore {
			reset = make([]float64, l.Units)
		}
		m.Reset = append(m.Reset, reset)
	}
	return m
}

// each calls f for every list of m with the same list of n.
func (m *Means) each(n Means, f func(a, b []float64)) {
	f(m.Features, n.Features)
	for i := range m.Units {
		f(m.Units[i], n.Units[i])
		f(m.Reset[i], n.Reset[i])
	}
}

// MeasureMeans runs the network over the selection recordings, on all cores, and averages.
func MeasureMeans(p *dataset.Float, selection *dataset.Recordings) Means {
	parts := make([]Means, len(selection.Sequences))
	dataset.EachSequence(selection, func(i int, s *dataset.Sequence) {
		parts[i] = sumSequence(p, s, selection.Features)
	})
	means := newMeans(p.Net)
	for _, part := range parts {
		means.each(part, add)
	}
	steps := float64(selection.Steps())
	means.each(means, func(a, _ []float64) {
		for i := range a {
			a[i] /= steps
		}
	})
	return means
}

// sumSequence returns sums over the steps of one sequence.
func sumSequence(p *dataset.Float, s *dataset.Sequence, features int) Means {
	sum := newMeans(p.Net)
	x := make([]float64, p.Net.Inputs())
	before := make([][]float64, len(p.Net.Recurrent)) // states that enter a step; zero at first
	for i, l := range p.Net.Recurrent {
		before[i] = make([]float64, l.Units)
	}
	p.Visit(s, func(step int, run *model.Run, _ []float64) {
		p.Normalise(s.X[step*features:(step+1)*features], x)
		add(sum.Features, x)
		for i := range p.Net.Recurrent {
			if sum.Reset[i] != nil {
				for j, r := range run.Gate(i, 0) {
					sum.Reset[i][j] += float64(r * before[i][j])
				}
			}
			copy(before[i], run.State(i))
			add(sum.Units[i], before[i])
		}
	})
	return sum
}

// add adds v to dst.
func add(dst, v []float64) {
	for i := range dst {
		dst[i] += v[i]
	}
}

// Cut returns a smaller network that keeps the given features and, per layer, the given units, all
// in ascending order of their index in net. What goes is held at its mean: its weight times its
// mean moves into the bias that the product was added to. For the candidate gate of a reset-after
// GRU that is the recurrent bias, inside the product with the reset gate; the candidate of a
// reset-before GRU gets the mean of state times reset gate. Keeping everything returns an equal
// network.
func Cut(net *model.Network, features []int, units [][]int, means Means) *model.Network {
	return cut(net, features, units, means)
}

// A replacer says what stands for the values that a cut removes.
type replacer interface {
	// gate returns the replacement for the rows of one gate block of a layer. They read the inputs
	// of the layer and behind them the state before the step (the candidate of a reset-before GRU:
	// the state times the reset gate). inputs and units are those that stay.
	gate(l *model.Recurrent, layer, gate int, inputs, units []int) replacement
	// head returns the replacement for the first dense layer, which reads the state of the last
	// recurrent layer, number layer. units are those that stay.
	head(d *model.Dense, layer int, units []int) replacement
}

// candidateGate is the index of the candidate among the gate blocks of a GRU.
const candidateGate = 2

// gate implements replacer: it holds inputs and units at their means.
func (m Means) gate(l *model.Recurrent, layer, gate int, inputs, units []int) replacement {
	in, state := m.Features, m.Units[layer]
	if layer > 0 {
		in = m.Units[layer-1]
	}
	if l.Kind == model.GRUResetBefore && gate == candidateGate {
		state = m.Reset[layer]
	}
	first := constants(in, inputs)
	return first.beside(constants(state, units), l.Inputs)
}

// head implements replacer.
func (m Means) head(_ *model.Dense, layer int, units []int) replacement {
	return constants(m.Units[layer], units)
}

// cut is [Cut] with any replacement.
func cut(net *model.Network, features []int, units [][]int, f replacer) *model.Network {
	small := &model.Network{}
	inputs := features
	for i, l := range net.Recurrent {
		layer := &model.Recurrent{Kind: l.Kind, Inputs: len(inputs), Units: len(units[i])}
		for gate := range l.Kind.Gates() {
			r := f.gate(l, i, gate, inputs, units[i])
			for _, j := range units[i] {
				appendRow(layer, l, gate*l.Units+j, r)
			}
		}
		small.Recurrent = append(small.Recurrent, layer)
		inputs = units[i]
	}
	for i, d := range net.Dense {
		if i > 0 {
			c := *d
			c.W, c.B = slices.Clone(d.W), slices.Clone(d.B)
			small.Dense = append(small.Dense, &c)
			continue
		}
		layer := &model.Dense{Inputs: len(inputs), Outputs: d.Outputs, B: slices.Clone(d.B),
			Activation: d.Activation}
		r := f.head(d, len(net.Recurrent)-1, inputs)
		for o := range d.Outputs {
			layer.W = append(layer.W,
				r.fold(d.W[o*d.Inputs:(o+1)*d.Inputs], func(_ int, v float64) {
					layer.B[o] += v
				})...)
		}
		small.Dense = append(small.Dense, layer)
	}
	return small
}

// appendRow appends one row of l to a smaller layer.
func appendRow(small, l *model.Recurrent, row int, r replacement) {
	b, d := l.B[row], l.D[row]
	whole := append(slices.Clone(l.W[row*l.Inputs:(row+1)*l.Inputs]),
		l.U[row*l.Units:(row+1)*l.Units]...)
	weights := r.fold(whole, func(index int, v float64) {
		if index < l.Inputs {
			b += v
		} else {
			d += v
		}
	})
	small.W, small.U = append(small.W, weights[:small.Inputs]...),
		append(small.U, weights[small.Inputs:]...)
	small.B, small.D = append(small.B, b), append(small.D, d)
}

// count returns the indices 0..n-1.
func count(n int) []int {
	indices := make([]int, n)
	for i := range indices {
		indices[i] = i
	}
	return indices
}

// Without returns the indices 0..n-1 less those in gone.
func Without(n int, gone ...int) []int {
	skip := make(map[int]bool, len(gone))
	for _, g := range gone {
		skip[g] = true
	}
	kept := []int{}
	for i := range n {
		if !skip[i] {
			kept = append(kept, i)
		}
	}
	return kept
}

// Unit names one hidden unit of a network.
type Unit struct {
	Layer, Index int
}

// Units lists the hidden units of a network, first layer first.
func Units(net *model.Network) []Unit {
	var all []Unit
	for l, layer := range net.Recurrent {
		for j := range layer.Units {
			all = append(all, Unit{l, j})
		}
	}
	return all
}

// AllUnits lists the units of every layer, as [Cut] takes them.
func AllUnits(net *model.Network) [][]int {
	var all [][]int
	for _, l := range net.Recurrent {
		all = append(all, count(l.Units))
	}
	return all
}

// UnitName returns the index of a unit; where there are several layers, the index of its layer and
// a point stand before it.
func UnitName(net *model.Network, u Unit) string {
	if len(net.Recurrent) == 1 {
		return strconv.Itoa(u.Index)
	}
	return strconv.Itoa(u.Layer) + "." + strconv.Itoa(u.Index)
}

// CutPredictor is [Cut] for the network of a predictor that takes every feature.
func CutPredictor(p *dataset.Float, features []int, units [][]int, means Means) *dataset.Float {
	return &dataset.Float{Net: Cut(p.Net, features, units, means), Features: p.Features,
		Kept: features, Outputs: p.Outputs, Classes: p.Classes}
}
