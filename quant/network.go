package quant

import (
	"errors"

	"kerf/dataset"
	"kerf/model"
)

// Network is a GRU (reset-after) with a dense head in fixed point.
type Network struct {
	Features []dataset.Feature // kept features, in order
	Columns  []int             // their columns in the recordings
	Outputs  []dataset.Output
	Units    int
	Formats  Formats

	InputFraction int // of a normalised feature
	GateFraction  int // of a pre-activation; also fixes the shift into the tanh table

	Input     *Matrix // 3·Units × features, gates r, z, n; result in GateFraction
	Recurrent *Matrix // 3·Units × Units, gates r, z, n; result in GateFraction
	Head      *Matrix // outputs × Units; the accumulator is the result, in the unit of the output
}

// Quantize brings a float network to fixed point. The normalisation of the
// outputs is folded into the head, so that an output is its integer times a
// power of two, in its physical unit. It returns a [*RangeError] when a row of
// weights fits no fixed-point row.
func Quantize(p *dataset.Float, c Calibration, formats Formats) (*Network, error) {
	if err := formats.Validate(); err != nil {
		return nil, err
	}
	layer, head := p.Net.Recurrent[0], p.Net.Dense[0]
	n := &Network{Columns: p.Kept, Outputs: p.Outputs, Units: layer.Units, Formats: formats}
	for _, k := range p.Kept {
		n.Features = append(n.Features, p.Features[k])
	}
	// 14 fraction bits hold ±2, less than which no normalised feature ranges.
	n.InputFraction = fractionFor(c.Input, 14)
	headW, headB := foldOutputs(head, p.Outputs)
	var err error
	if n.Head, err = quantizeMatrix("head.weight", headW, headB, head.Outputs, head.Inputs, formats.HeadBits, stateFraction, -1); err != nil {
		return nil, err
	}
	// Large weights may leave no shift between their row and a fine gate format;
	// a coarser one makes room.
	for n.GateFraction = max(minGateFraction, fractionFor(c.Gate, maxGateFraction)); ; n.GateFraction-- {
		err := n.quantizeGates(layer)
		if err == nil {
			return n, nil
		}
		var outOfRange *RangeError
		if !errors.As(err, &outOfRange) || n.GateFraction == minGateFraction {
			return nil, err
		}
	}
}

func (n *Network) quantizeGates(layer *model.Recurrent) (err error) {
	rows := layer.Kind.Gates() * layer.Units
	if n.Input, err = quantizeMatrix("weight_ih", layer.W, layer.B, rows, layer.Inputs, n.Formats.InputBits, n.InputFraction, n.GateFraction); err != nil {
		return err
	}
	n.Recurrent, err = quantizeMatrix("weight_hh", layer.U, layer.D, rows, layer.Units, n.Formats.RecurrentBits, stateFraction, n.GateFraction)
	return err
}

// foldOutputs gives head weights and biases whose result is in physical units.
func foldOutputs(head *model.Dense, outputs []dataset.Output) (w, b []float64) {
	w = make([]float64, len(head.W))
	b = make([]float64, len(head.B))
	for o, out := range outputs {
		for j := range head.Inputs {
			w[o*head.Inputs+j] = head.W[o*head.Inputs+j] * out.Std
		}
		b[o] = float64(head.B[o]*out.Std) + out.Mean
	}
	return w, b
}

// OutputFraction is the number of fraction bits of output o: its physical value
// is the integer divided by 2^OutputFraction.
func (n *Network) OutputFraction(o int) int {
	return n.Head.Fraction[o] + stateFraction
}

// TableShift brings a pre-activation to an index of the tanh table.
func (n *Network) TableShift() uint8 { return uint8(n.GateFraction - tableBits) }

// StateFraction is the number of fraction bits of the hidden state.
func (n *Network) StateFraction() int {
	if n.Formats.StateBits == 32 {
		return wideStateFraction
	}
	return stateFraction
}

// Matrices lists the weight matrices in the order of the handoff.
func (n *Network) Matrices() []*Matrix { return []*Matrix{n.Input, n.Recurrent, n.Head} }

// Shape returns the sizes of the network.
func (n *Network) Shape() Shape {
	return Shape{Features: len(n.Features), Units: n.Units, Outputs: len(n.Outputs), Formats: n.Formats}
}

// Rescaled tells whether the result is shifted out of the accumulator.
func (m *Matrix) Rescaled() bool { return m.Shift[0] != 0 }
