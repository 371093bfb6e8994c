package prune

import (
	"kerf/dataset"
	"kerf/model"
)

// Means are what a removed feature or unit is replaced by: its average over the
// selection recordings, in the network as given.
type Means struct {
	Features []float64 // normalised, one per feature of the network
	Units    []float64 // hidden state, one per unit
}

// MeasureMeans averages over selection recordings.
func MeasureMeans(p *dataset.Float, selection *dataset.Recordings) Means {
	features, units := p.Net.Inputs(), p.Net.Units()
	parts := make([]Means, len(selection.Sequences))
	dataset.EachSequence(selection, func(i int, s *dataset.Sequence) {
		sum := Means{Features: make([]float64, features), Units: make([]float64, units)}
		x := make([]float64, features)
		p.Visit(s, func(step int, run *model.Run, _ []float64) {
			p.Normalise(s.X[step*selection.Features:(step+1)*selection.Features], x)
			add(sum.Features, x)
			add(sum.Units, run.State(0))
		})
		parts[i] = sum
	})
	means := Means{Features: make([]float64, features), Units: make([]float64, units)}
	for _, p := range parts {
		add(means.Features, p.Features)
		add(means.Units, p.Units)
	}
	steps := float64(selection.Steps())
	for i := range means.Features {
		means.Features[i] /= steps
	}
	for j := range means.Units {
		means.Units[j] /= steps
	}
	return means
}

func add(dst, v []float64) {
	for i := range dst {
		dst[i] += v[i]
	}
}

// Cut returns a smaller network that keeps the given features and units, both
// in ascending order of their index in net. What goes is held at its mean: its
// weight times its mean moves into the bias that the product was added to. For
// the candidate gate of a reset-after GRU that is the recurrent bias, inside the
// product with the reset gate. Keeping everything returns an equal network.
func Cut(net *model.Network, features, units []int, means Means) *model.Network {
	layer, head := net.Recurrent[0], net.Dense[0]
	rows := gateRows(layer, units)
	small := &model.Recurrent{Kind: layer.Kind, Inputs: len(features), Units: len(units)}
	small.W, small.B = take(layer.W, layer.B, layer.Inputs, rows, features, means.Features)
	small.U, small.D = take(layer.U, layer.D, layer.Units, rows, units, means.Units)
	smallHead := &model.Dense{Inputs: len(units), Outputs: head.Outputs}
	smallHead.W, smallHead.B = take(head.W, head.B, head.Inputs, count(head.Outputs), units, means.Units)
	return &model.Network{Recurrent: []*model.Recurrent{small}, Dense: []*model.Dense{smallHead}}
}

// gateRows lists the rows of the kept units in every gate block.
func gateRows(layer *model.Recurrent, units []int) []int {
	var rows []int
	for gate := range layer.Kind.Gates() {
		for _, j := range units {
			rows = append(rows, gate*layer.Units+j)
		}
	}
	return rows
}

// take keeps rows and columns of w [len(bias) × columns] and folds the other
// columns, times their mean, into the bias.
func take(w, bias []float64, columns int, rows, kept []int, means []float64) (smallW, smallBias []float64) {
	stays := make([]bool, columns)
	for _, c := range kept {
		stays[c] = true
	}
	for _, r := range rows {
		row := w[r*columns : (r+1)*columns]
		for _, c := range kept {
			smallW = append(smallW, row[c])
		}
		b := bias[r]
		for c, v := range row {
			if !stays[c] {
				b += float64(v * means[c])
			}
		}
		smallBias = append(smallBias, b)
	}
	return smallW, smallBias
}

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

// CutPredictor cuts the network of a predictor that takes every feature.
func CutPredictor(p *dataset.Float, features, units []int, means Means) *dataset.Float {
	return &dataset.Float{Net: Cut(p.Net, features, units, means), Features: p.Features, Kept: features, Outputs: p.Outputs}
}
