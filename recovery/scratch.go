package recovery

import (
	"math"
	"math/rand/v2"

	"kerf/dataset"
	"kerf/model"
	"kerf/portable"
)

// Scratch returns a network to train from the beginning: with the kinds of layers, the outputs and
// the dense layers of a given one, that takes features, indices into like.Features, and has units,
// a number per recurrent layer. like normalises its features to mean 0 and standard deviation 1,
// see [quant.Standardise]. The outputs start at their mean over rec. The weights follow from the
// seed.
//
// Input weights are uniform within ±sqrt(6/(inputs + units)) (Glorot and Bengio 2010, equation 16),
// as are those of dense layers but the last, whose weights are 0. Recurrent weights of a gate are
// an orthogonal matrix (Saxe, McClelland and Ganguli 2014, arXiv:1312.6120, section 3). The biases
// of update and forget gates give every unit a memory of its own, see [memories] (Tallec and
// Ollivier 2018, arXiv:1804.11188, section 2: log(T-1) for a memory of T steps, and the reverse for
// the input gate of an LSTM). An Elman (ReLU) layer, whose state nothing bounds, has units that
// multiply their own state by 1 - 1/T and their inputs by 1/T, after the identity matrix of Le,
// Jaitly and Hinton 2015, arXiv:1504.00941.
func Scratch(like *dataset.Float, rec *dataset.Recordings, features, units []int,
	seed uint64) *dataset.Float {
	d := &draws{random: rand.New(rand.NewPCG(seed, 0)), longest: longestMemory(rec)}
	net, width := &model.Network{}, len(features)
	for i, l := range like.Net.Recurrent {
		net.Recurrent = append(net.Recurrent, d.recurrent(l.Kind, width, units[i]))
		width = units[i]
	}
	for _, l := range like.Net.Dense {
		net.Dense = append(net.Dense, &model.Dense{Inputs: width, Outputs: l.Outputs,
			W: d.glorot(l.Outputs, width), B: make([]float64, l.Outputs),
			Activation: l.Activation})
		width = l.Outputs
	}
	p := *like
	p.Net, p.Kept = net, features
	last := net.Dense[len(net.Dense)-1]
	clear(last.W)
	if labelled := withReference(rec); len(labelled.Sequences) > 0 {
		for o, out := range p.Outputs {
			mean, _ := spread(labelled, o, 1)
			last.B[o] = rawFor((mean-out.Mean)/out.Std, last.Activation, p.Classes)
		}
	}
	return &p
}

// atLeast keeps the start of an output away from values that an activation never gives, where it
// has no slope (our choice).
const atLeast = 0.01

// rawFor returns the sum that an activation turns into y. The mean of a class is its share, whose
// logarithm is its score.
func rawFor(y float64, a model.Activation, class bool) float64 {
	logit := func(share float64) float64 {
		share = min(max(share, atLeast), 1-atLeast)
		return portable.Log(share / (1 - share))
	}
	switch {
	case a == model.Logistic:
		return logit(y)
	case a == model.Tanh: // (1 + tanh(x))/2 = logistic(2x)
		return logit((1+y)/2) / 2
	case a == model.ReLU:
		return max(y, atLeast)
	case class:
		return portable.Log(max(y, atLeast))
	}
	return y
}

// A unit of a new network remembers at least shortest and at most longest steps, and no longer than
// a sequence lasts (our choice: a unit of the demo remembers some hundred steps).
const shortest, longest = 2, 500

// longestMemory returns the largest memory in steps for recordings.
func longestMemory(rec *dataset.Recordings) float64 {
	return min(longest, max(shortest, float64(rec.Steps())/float64(len(rec.Sequences))))
}

// draws makes the weights of a new network.
type draws struct {
	random  *rand.Rand
	longest float64 // memory of a unit in steps
}

// uniform returns a number between ±limit.
func (d *draws) uniform(limit float64) float64 {
	share := float64(d.random.Float64()) // the conversion is explained at model.affine
	return limit * (float64(2*share) - 1)
}

// glorot returns weights [rows × columns] of one gate or dense layer.
func (d *draws) glorot(rows, columns int) []float64 {
	w, limit := make([]float64, rows*columns), math.Sqrt(6/float64(rows+columns))
	for i := range w {
		w[i] = d.uniform(limit)
	}
	return w
}

// memories returns a memory in steps for each unit: between shortest and longest, the logarithms
// spread evenly, each drawn in a part of its own. Drawn independently and evenly, as in the source,
// nearly all of a few units would be slow.
func (d *draws) memories(units int) []float64 {
	all := make([]float64, units)
	for i := range all {
		share := (float64(i) + float64(d.random.Float64())) / float64(units)
		all[i] = shortest * portable.Exp(share*portable.Log(d.longest/shortest))
	}
	return all
}

// recurrent returns a recurrent layer.
func (d *draws) recurrent(kind model.Kind, inputs, units int) *model.Recurrent {
	rows := kind.Gates() * units
	l := &model.Recurrent{Kind: kind, Inputs: inputs, Units: units, B: make([]float64, rows),
		D: make([]float64, rows)}
	for range kind.Gates() {
		l.W = append(l.W, d.glorot(units, inputs)...)
		l.U = append(l.U, d.orthogonal(units)...)
	}
	for u, memory := range d.memories(units) {
		switch kind {
		case model.GRUResetAfter, model.GRUResetBefore:
			l.B[units+u] = portable.Log(memory - 1)
		case model.LSTM:
			l.B[units+u] = portable.Log(memory - 1)
			l.B[u] = -l.B[units+u]
		case model.ElmanReLU:
			for i := range inputs {
				l.W[u*inputs+i] /= memory
			}
			clear(l.U[u*units : (u+1)*units])
			l.U[u*units+u] = 1 - 1/memory
		}
	}
	return l
}

// orthogonal returns a random orthogonal matrix: rows of normal numbers, each without the parts
// along the rows before it, and of length 1 (Gram and Schmidt).
func (d *draws) orthogonal(size int) []float64 {
	m := make([]float64, size*size)
	for r := range size {
		row := m[r*size : (r+1)*size]
		for i := range row {
			row[i] = portable.Normal(d.random)
		}
		for before := range r {
			other := m[before*size : (before+1)*size]
			along := portable.Dot(row, other)
			for i, v := range other {
				row[i] -= float64(along * v)
			}
		}
		length := math.Sqrt(portable.Dot(row, row))
		for i := range row {
			row[i] /= length
		}
	}
	return m
}
