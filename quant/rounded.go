package quant

import (
	"math"
	"slices"

	"kerf/model"
)

// Rounded returns the float network with the weights and biases that n holds, for the features as n
// normalises them. Its raw outputs are those of the network that n was made of: physical value =
// raw·Std + Mean.
func (n *Network) Rounded() *model.Network {
	r := &model.Network{}
	for _, l := range n.Layers {
		w, b := l.Input.values()
		u, d := l.Recurrent.values()
		r.Recurrent = append(r.Recurrent, &model.Recurrent{Kind: l.Kind, Inputs: l.Input.Cols,
			Units: l.Units, W: w, U: u, B: b, D: d})
	}
	for _, d := range n.Dense {
		w, b := d.Weights.values()
		if d.Last && !d.UsesTable() { // the normalisation of the outputs is folded in
			for o, out := range n.Outputs {
				for i := range d.Weights.Cols {
					w[o*d.Weights.Cols+i] /= out.Std
				}
				if d.Activation == model.Identity {
					b[o] -= out.Mean
				}
				b[o] /= out.Std
			}
		}
		r.Dense = append(r.Dense, &model.Dense{Inputs: d.Weights.Cols, Outputs: d.Weights.Rows,
			W: w, B: b, Activation: d.Activation})
	}
	return r
}

// values returns weights [Rows × Cols] and biases [Rows] as numbers.
func (m *Matrix) values() (w, b []float64) {
	w, b = make([]float64, len(m.W)), make([]float64, m.Rows)
	for r := range m.Rows {
		one := scale(m.Fraction[r])
		for i, q := range m.W[r*m.Cols : (r+1)*m.Cols] {
			w[r*m.Cols+i] = float64(q) / one
		}
		b[r] = float64(m.Bias[r]) / scale(m.Fraction[r]+m.InputFraction)
	}
	return w, b
}

// Values sets state to the hidden state of a recurrent layer and, for an LSTM, cell to its cell, as
// numbers. Otherwise cell stays as it is.
func (n *Network) Values(s *State, layer int, state, cell []float64) {
	q, from := n.Layers[layer], s.layers[layer]
	h, fraction := from.view, q.OutputFraction
	if q.wide() && !q.Kind.HasCell() {
		h, fraction = from.h, wideStateFraction
	}
	numbers(state, h, fraction)
	if q.Kind.HasCell() {
		numbers(cell, from.c, q.CellFraction)
	}
}

// SetValues is the reverse of [Network.Values]: it sets the state of a layer to the nearest
// integers.
func (n *Network) SetValues(s *State, layer int, state, cell []float64) {
	q, to := n.Layers[layer], s.layers[layer]
	if q.Kind.HasCell() {
		nearest(to.c, cell, q.CellFraction)
	}
	if q.wide() && !q.Kind.HasCell() {
		nearest(to.h, state, wideStateFraction)
		for j, h := range to.h {
			to.view[j] = narrow(h, wideStateFraction-stateFraction)
		}
		return
	}
	nearest(to.h, state, q.OutputFraction)
	copy(to.view, to.h)
}

// nearest rounds numbers to integers with some fraction bits.
func nearest(to []int32, from []float64, fraction int) {
	for i, v := range from {
		to[i] = int32(math.Round(v * scale(fraction)))
	}
}

// numbers turns integers with some fraction bits into numbers.
func numbers(to []float64, from []int32, fraction int) {
	one := scale(fraction)
	for i, v := range from {
		to[i] = float64(v) / one
	}
}

// EncodeSteps encodes several steps of recorded features, rows of the given number of columns. It
// sets integers to the values that [Network.Step] takes and values to the numbers that they stand
// for, [steps × features] each.
func (n *Network) EncodeSteps(rows []float64, columns int, integers []int32, values []float64) {
	encoder := n.newEncoder()
	for i, row := range slices.Collect(slices.Chunk(rows, columns)) {
		encoder.encode(row, integers[i*len(n.Features):(i+1)*len(n.Features)])
	}
	numbers(values, integers[:len(values)], n.InputFraction)
}
