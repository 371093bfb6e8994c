package quant

import (
	"kerf/model"
	"kerf/model/lanes"
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

// Onto loads the weights that n holds onto a tape of a network of the same shape, see
// [Network.Rounded], and makes the tape round inputs, states, cells and results of dense layers as
// n does. A 32-bit state or cell is not rounded, it has more bits than float32. Sums before an
// activation and gates are not rounded either, and tanh and logistic function come from no table.
func (n *Network) Onto(t *lanes.Tape) {
	t.Load(n.Rounded())
	t.RoundInputs(lanes.Int16(n.InputFraction))
	for i, l := range n.Layers {
		state, cell := lanes.Int16(l.OutputFraction), lanes.Grid{}
		switch {
		case l.Kind.HasCell() && !l.wide():
			cell = lanes.Int16(l.CellFraction)
		case l.wide() && !l.Kind.HasCell():
			state = lanes.Grid{}
		}
		t.RoundState(i, state, cell)
	}
	for i, d := range n.Dense {
		if !d.Last {
			t.RoundDense(i, lanes.Int16(d.outputFraction()))
		}
	}
}
