package quant

import (
	"fmt"
	"math"
	"slices"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/model"
)

// LargestInput is the largest range of a normalised feature, in standard deviations (our choice): a
// single spike in a recording must not take the resolution of all features. Values beyond it
// saturate and are reported.
const LargestInput = 16

// Network is a recurrent network in fixed point: recurrent layers first to last, then dense layers,
// which run at every step. Several goroutines may run one network, each with a [State] of its own.
type Network struct {
	Features []dataset.Feature // kept features, in order
	Columns  []int             // columns of the kept features in the recordings
	Outputs  []dataset.Output
	Classes  bool     // the outputs are scores of classes, with common fraction bits
	Formats  Formats  // word widths
	Rounding Rounding // how the weights were rounded

	InputFraction int // fraction bits of a normalised feature
	// FrontEnd makes features of samples, with the encodings of this network; nil: all are given.
	FrontEnd *frontend.Integer
	Layers   []*Layer      // recurrent, first to last
	Dense    []*DenseLayer // behind them, first to last; one or more
}

// Quantize brings a float network to fixed point. c is its calibration. The normalisation of the
// outputs is folded into the last layer, so that an output is its integer times a power of two, in
// its physical unit. Quantize returns a [*RangeError] when a row of weights fits no fixed-point
// row, and the error of [Formats.Validate].
func Quantize(p *dataset.Float, c Calibration, formats Formats,
	rounding Rounding) (*Network, error) {
	return quantizePartial(p, c, formats, rounding, nil)
}

// quantizePartial is [Quantize] with one word narrower for some units; partial may be nil.
func quantizePartial(p *dataset.Float, c Calibration, formats Formats, rounding Rounding,
	partial *Partial) (*Network, error) {
	if err := formats.Validate(p.Net); err != nil {
		return nil, err
	}
	if strength := rounding.evening(); strength > 0 {
		p, c = even(p, c, strength)
	}
	n := &Network{Columns: p.Kept, Outputs: p.Outputs, Classes: p.Classes, Formats: formats,
		Rounding: rounding}
	for _, k := range p.Kept {
		n.Features = append(n.Features, p.Features[k])
	}
	// 14 fraction bits hold ±2; every normalised feature ranges at least as far.
	n.InputFraction = fractionFor(math.Min(c.Input, LargestInput/headroom), 14)
	if c.FrontEnd != nil {
		n.TakeFrom(c.FrontEnd)
	}
	fraction := n.InputFraction
	for i, l := range p.Net.Recurrent {
		rows := l.Kind.Gates() * l.Units
		bits := [2][]int{partial.bits(InputWeights, i, rows, formats.Layers[i].InputBits),
			partial.bits(RecurrentWeights, i, rows, formats.Layers[i].RecurrentBits)}
		layer, err := quantizeLayer(layerName("layer", i, len(p.Net.Recurrent)), l, fraction,
			c.Layers[i], formats.Layers[i], rounding, bits)
		if err != nil {
			return nil, err
		}
		partial.coarsen(layer, i, c.Layers[i])
		n.Layers = append(n.Layers, layer)
		fraction = layer.OutputFraction
	}
	return n, n.quantizeDense(p, &c, partial)
}

// TakeFrom has the network take its computed features from a front end, whose encodings do not
// count.
func (n *Network) TakeFrom(f *frontend.Integer) {
	encodings := make([]frontend.Encoding, len(f.Front.Features))
	for k := range encodings {
		encodings[k] = frontend.Encoding{Std: 1}
	}
	n.FrontEnd = f
	for i, k := range n.computed() {
		if k >= 0 {
			encodings[k] = frontend.Encoding{Mean: n.Features[i].Mean, Std: n.Features[i].Std,
				FractionBits: n.InputFraction}
		}
	}
	n.FrontEnd = f.WithEncodings(encodings)
}

// computed returns, per kept feature, which one of the front end it is, -1 for a given one.
func (n *Network) computed() []int {
	at := make([]int, len(n.Features))
	for i, f := range n.Features {
		at[i] = slices.IndexFunc(n.FrontEnd.Front.Features,
			func(c frontend.Feature) bool { return c.Name == f.Name })
	}
	return at
}

// quantizeDense brings the dense layers behind the recurrent layers to fixed point.
func (n *Network) quantizeDense(p *dataset.Float, c *Calibration, partial *Partial) error {
	fraction := n.Layers[len(n.Layers)-1].OutputFraction
	last := len(p.Net.Dense) - 1
	for i, d := range p.Net.Dense[:last] {
		layer, err := quantizeDense(fmt.Sprintf("dense%d.weight", i), d, fraction, c.Dense[i],
			n.Formats.Dense[i], n.Rounding,
			partial.bits(DenseWeights, i, d.Outputs, n.Formats.Dense[i]))
		if err != nil {
			return err
		}
		n.Dense = append(n.Dense, layer)
		fraction = layer.outputFraction()
	}
	head := func(d *model.Dense) (*DenseLayer, error) {
		return quantizeHead("head.weight", d, fraction, c.Dense[last], n.Formats.Dense[last],
			n.Rounding, p.Outputs, p.Classes,
			partial.bits(DenseWeights, last, d.Outputs, n.Formats.Dense[last]))
	}
	given := p.Net.Dense[last]
	layer, err := head(given)
	if err != nil {
		return err
	}
	n.Dense = append(n.Dense, layer)
	if n.Rounding.Fitted() {
		refitted, err := head(n.refit(given, c))
		switch {
		case err == nil:
			n.Dense[last] = refitted
		case !isRangeError(err): // a refitted layer that fits no row is not taken
			return err
		}
	}
	return nil
}

// layerName returns the name of layer i, with its number where there are several.
func layerName(name string, i, of int) string {
	if of == 1 {
		return name
	}
	return fmt.Sprintf("%s%d", name, i)
}

// Shape returns the sizes and the shifts of the network.
func (n *Network) Shape() Shape {
	s := Shape{Features: len(n.Features), Formats: n.Formats}
	for _, l := range n.Layers {
		s.Layers = append(s.Layers, LayerShape{l.Kind, l.Units})
		shifts := LayerShifts{Input: l.Input.meanBits(), Recurrent: l.Recurrent.meanBits()}
		if l.Kind != model.ElmanReLU {
			shifts.Table = l.TableShift()
		}
		if l.Kind.HasCell() {
			shifts.Cell = l.CellShift()
			_, shifts.CellTable = l.CellView()
		}
		s.Shifts.Layers = append(s.Shifts.Layers, shifts)
	}
	for _, d := range n.Dense {
		s.Dense = append(s.Dense, DenseShape{d.Weights.Rows, d.Activation})
		shifts := DenseShifts{Rows: d.Weights.meanBits()}
		if d.UsesTable() {
			shifts.Table = d.TableShift()
		}
		s.Shifts.Dense = append(s.Shifts.Dense, shifts)
	}
	return s
}

// OutputFraction returns the number of fraction bits of output o: its physical value is the integer
// divided by 2^OutputFraction.
func (n *Network) OutputFraction(o int) int { return n.head().Out[o] }

// head returns the last dense layer.
func (n *Network) head() *DenseLayer { return n.Dense[len(n.Dense)-1] }

// Matrices lists the weight matrices in the order of the handoff.
func (n *Network) Matrices() []*Matrix {
	var all []*Matrix
	for _, l := range n.Layers {
		all = append(all, l.Input, l.Recurrent)
	}
	for _, d := range n.Dense {
		all = append(all, d.Weights)
	}
	return all
}

// Rescaled reports whether results are shifted out of the accumulator.
func (m *Matrix) Rescaled() bool { return m.Shift[0] != 0 }

// UsesTable reports whether any layer of the network reads the tanh table.
func (s Shape) UsesTable() bool {
	for _, l := range s.Layers {
		if l.Kind != model.ElmanReLU {
			return true
		}
	}
	for _, d := range s.Dense {
		if d.Activation == model.Tanh || d.Activation == model.Logistic {
			return true
		}
	}
	return false
}

// Class returns the index of the largest output, the first of equal ones.
func Class(y []int32) int {
	best := 0
	for c, v := range y {
		if v > y[best] {
			best = c
		}
	}
	return best
}
