package quant

import (
	"slices"

	"kerf/dataset"
)

// Word is one of the words that the formats of a network choose.
type Word int

// The three words of a recurrent layer, and the word of a dense layer.
const (
	InputWeights     Word = iota // LayerFormats.InputBits
	RecurrentWeights             // LayerFormats.RecurrentBits
	StateWord                    // LayerFormats.StateBits
	DenseWeights                 // Formats.Dense
)

// Partial narrows one word for some units only. No format stores such a network: it serves to find
// out by measurement which units a wide word is needed for.
type Partial struct {
	Word   Word   // the word that is narrowed
	Layer  int    // index of the recurrent layer; of the dense layer for DenseWeights
	Bits   int    // the narrower word
	Narrow []bool // per unit: its rows or its state are rounded as for the narrower word
}

// Narrowing brings one network to fixed point again and again, each time with one word narrower for
// other units. Rows of a recurrent layer are rounded one by one, so it rounds all of them twice, in
// the wide and in the narrow word, and takes each from either.
type Narrowing struct {
	float       *dataset.Float
	calibration Calibration
	formats     Formats
	rounding    Rounding
	// networks with all units wide and with all narrow; nil: the word is none of recurrent rows
	wide, narrow *Network
}

// NewNarrowing returns a narrowing of the word of the given partial, whose units do not count. The
// arguments and errors are those of [Quantize].
func NewNarrowing(p *dataset.Float, c Calibration, formats Formats, rounding Rounding,
	word Partial) (*Narrowing, error) {
	n := &Narrowing{float: p, calibration: c, formats: formats, rounding: rounding}
	if word.Word == DenseWeights {
		return n, nil
	}
	all := make([]bool, p.Net.Recurrent[word.Layer].Units)
	var err error
	for _, to := range []**Network{&n.wide, &n.narrow} {
		word.Narrow = all
		if *to, err = quantizePartial(p, c, formats, rounding, &word); err != nil {
			return nil, err
		}
		all = make([]bool, len(all))
		for j := range all {
			all[j] = true
		}
	}
	if wide, narrow := n.wide.Layers[word.Layer], n.narrow.Layers[word.Layer]; wide.GateFraction !=
		narrow.GateFraction || wide.OutputFraction != narrow.OutputFraction {
		n.wide, n.narrow = nil, nil // rows of both would not fit together
	}
	return n, nil
}

// Network returns the network with the word narrower for the units of a partial. The errors are
// those of [Quantize].
func (n *Narrowing) Network(partial *Partial) (*Network, error) {
	if n.wide == nil {
		return quantizePartial(n.float, n.calibration, n.formats, n.rounding, partial)
	}
	p, c := n.float, n.calibration
	if strength := n.rounding.evening(); strength > 0 {
		p, c = even(p, c, strength)
	}
	mixed := *n.wide
	mixed.Layers, mixed.Dense = slices.Clone(n.wide.Layers), nil
	layer := *n.wide.Layers[partial.Layer]
	other := n.narrow.Layers[partial.Layer]
	if partial.Word == StateWord {
		partial.coarsen(&layer, partial.Layer, c.Layers[partial.Layer])
	} else {
		layer.Input = layer.Input.mixed(other.Input, partial.Narrow)
		layer.Recurrent = layer.Recurrent.mixed(other.Recurrent, partial.Narrow)
	}
	mixed.Layers[partial.Layer] = &layer
	return &mixed, mixed.quantizeDense(p, &c, partial)
}

// mixed returns the matrix with the rows of some units from another one of the same shape.
func (m *Matrix) mixed(other *Matrix, narrow []bool) *Matrix {
	to := *m
	to.W, to.Bias, to.Fraction = slices.Clone(m.W), slices.Clone(m.Bias), slices.Clone(m.Fraction)
	to.Shift, to.Bound = slices.Clone(m.Shift), slices.Clone(m.Bound)
	for r := range m.Rows {
		if narrow[r%len(narrow)] {
			copy(to.W[r*m.Cols:(r+1)*m.Cols], other.W[r*m.Cols:])
			to.Bias[r], to.Fraction[r] = other.Bias[r], other.Fraction[r]
			to.Shift[r], to.Bound[r] = other.Shift[r], other.Bound[r]
		}
	}
	return &to
}

// bits returns the words of the rows of a matrix, nil when all rows have the word own.
func (n *Partial) bits(word Word, layer, rows, own int) []int {
	if n == nil || n.Word != word || n.Layer != layer {
		return nil
	}
	all := make([]int, rows)
	for r := range all {
		all[r] = own
		if n.Narrow[r%len(n.Narrow)] {
			all[r] = n.Bits
		}
	}
	return all
}

// coarsen makes a wide state lose the bits that the 16-bit state of the same unit does not hold.
func (n *Partial) coarsen(q *Layer, layer int, r LayerRange) {
	if n == nil || n.Word != StateWord || n.Layer != layer || !q.wide() {
		return
	}
	lost := wideStateFraction - stateFraction
	if q.Kind.HasCell() {
		lost = q.CellFraction - narrowCellFraction(r)
	}
	q.lost = make([]uint8, q.Units)
	for j, narrow := range n.Narrow {
		if narrow {
			q.lost[j] = uint8(lost)
		}
	}
}

// coarsened returns a new state of unit j without the bits that coarsen takes.
func (q *Layer) coarsened(j int, v int32) int32 {
	if q.lost == nil || q.lost[j] == 0 {
		return v
	}
	return roundShift(v, q.lost[j]) << q.lost[j]
}
