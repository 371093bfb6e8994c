package quant

import (
	"math"

	"kerf/dataset"
	"kerf/model"
)

// DenseLayer is one dense layer in fixed point.
type DenseLayer struct {
	Activation    model.Activation
	Weights       *Matrix // outputs × inputs
	InputFraction int     // fraction bits of the int16 inputs

	// Fraction is the number of fraction bits of a rescaled result, before the activation. A last
	// layer without tanh or logistic has none: its accumulator is the result.
	Fraction int

	Last   bool    // the layer gives the outputs of the network as int32; other layers give int16
	Scale  []int32 // last layer with tanh or logistic: y = value·Scale + Offset
	Offset []int32 // last layer with ReLU, tanh or logistic
	Out    []int   // last layer: fraction bits of each output
}

// quantizeDense brings a dense layer that is not the last one to fixed point. in is the number of
// fraction bits of its inputs, bits the word of its weights, bitsByRow the word of single rows, see
// [Partial.bits].
func quantizeDense(name string, d *model.Dense, in int, r DenseRange, bits int, rounding Rounding,
	bitsByRow []int) (*DenseLayer, error) {
	q := &DenseLayer{Activation: d.Activation, InputFraction: in}
	top, lowest := fractionFor(r.Value, stateFraction-1), coarsest
	if q.UsesTable() {
		top, lowest = max(minGateFraction, fractionFor(r.Value, maxGateFraction)), minGateFraction
	}
	inputs := rounding.compensatorFor(r.Inputs)
	err := withCoarser(top, lowest, func(fraction int) (err error) {
		q.Fraction = fraction
		q.Weights, err = quantizeMatrix(d.W, d.B,
			rowSpec{name: name, rows: d.Outputs, cols: d.Inputs, wordBits: bits, in: in,
				out: fraction, compensate: inputs, bitsByRow: bitsByRow})
		return err
	})
	return q, err
}

// quantizeHead brings the last dense layer to fixed point. The normalisation of the outputs is
// folded in, so that an output is its integer times a power of two, in its physical unit. With
// common all outputs get the same fraction bits, so that their integers can be compared.
func quantizeHead(name string, d *model.Dense, in int, r DenseRange, bits int, rounding Rounding,
	outputs []dataset.Output, common bool, bitsByRow []int) (*DenseLayer, error) {
	q := &DenseLayer{Activation: d.Activation, InputFraction: in, Last: true}
	if q.UsesTable() {
		return q, q.tableHead(name, d, r, bits, rounding, outputs, bitsByRow)
	}
	// A positive factor passes through ReLU; the mean is added behind it.
	w := make([]float64, len(d.W))
	b := make([]float64, len(d.B))
	for o, out := range outputs {
		for j := range d.Inputs {
			w[o*d.Inputs+j] = d.W[o*d.Inputs+j] * out.Std
		}
		b[o] = float64(d.B[o] * out.Std)
		if d.Activation == model.Identity {
			b[o] += out.Mean
		}
	}
	reserve := make([]float64, len(outputs))
	if d.Activation == model.ReLU {
		for o, out := range outputs {
			reserve[o] = math.Abs(out.Mean)
		}
	}
	var err error
	if q.Weights,
		err = quantizeMatrix(w, b,
		rowSpec{name: name, rows: d.Outputs, cols: d.Inputs, wordBits: bits, in: in,
			out: accumulator, reserve: reserve, common: common,
			compensate: rounding.compensatorFor(r.Inputs), bitsByRow: bitsByRow}); err != nil {
		return nil, err
	}
	for o, out := range outputs {
		fraction := q.Weights.Fraction[o] + in
		q.Out = append(q.Out, fraction)
		if d.Activation == model.ReLU {
			q.Offset = append(q.Offset, int32(math.Round(out.Mean*scale(fraction))))
		}
	}
	return q, nil
}

// tableHead brings a last layer with tanh or logistic to fixed point: the value of the table, with
// 15 fraction bits, is scaled and shifted to the physical unit of each output.
func (q *DenseLayer) tableHead(name string, d *model.Dense, r DenseRange, bits int,
	rounding Rounding, outputs []dataset.Output, bitsByRow []int) error {
	top := max(minGateFraction, fractionFor(r.Value, maxGateFraction))
	inputs := rounding.compensatorFor(r.Inputs)
	err := withCoarser(top, minGateFraction, func(fraction int) (err error) {
		q.Fraction = fraction
		q.Weights, err = quantizeMatrix(d.W, d.B,
			rowSpec{name: name, rows: d.Outputs, cols: d.Inputs, wordBits: bits,
				in: q.InputFraction, out: fraction, compensate: inputs, bitsByRow: bitsByRow})
		return err
	})
	if err != nil {
		return err
	}
	for o, out := range outputs {
		fraction := 30 // |value| <= 1: Std + |Mean| must stay below 2^(31-fraction)
		for float64((out.Std+math.Abs(out.Mean))*scale(fraction))+maxInt16Magnitude >
			AccumulatorLimit {
			fraction--
		}
		if fraction < stateFraction {
			return &RangeError{Tensor: name, Row: o, Largest: out.Std, Bias: out.Mean}
		}
		q.Out = append(q.Out, fraction)
		q.Scale = append(q.Scale, int32(math.Round(out.Std*scale(fraction-stateFraction))))
		q.Offset = append(q.Offset, int32(math.Round(out.Mean*scale(fraction))))
	}
	return nil
}

// UsesTable reports whether the activation reads the tanh table.
func (q *DenseLayer) UsesTable() bool {
	return q.Activation == model.Tanh || q.Activation == model.Logistic
}

// outputFraction returns the number of fraction bits of the int16 results.
func (q *DenseLayer) outputFraction() int {
	if q.UsesTable() {
		return stateFraction
	}
	return q.Fraction
}

// step computes a layer for the int16 values v. It sets y to int16 values, or to int32 values if
// the layer is the last.
func (q *DenseLayer) step(v, y []int32) {
	for o := range y {
		if q.Weights.Rescaled() {
			y[o] = q.finish(o, q.Weights.row(o, v))
		} else {
			y[o] = q.finish(o, q.Weights.accumulate(o, v))
		}
	}
}

// finish returns output o, of which v is the rescaled result or the accumulator.
func (q *DenseLayer) finish(o int, v int32) int32 {
	if q.Last && !q.UsesTable() {
		if q.Activation == model.ReLU {
			return max(v, 0) + q.Offset[o]
		}
		return v
	}
	v = q.activate(v)
	if q.Last {
		return v*q.Scale[o] + q.Offset[o]
	}
	return v
}

// activate returns the activation of a rescaled result as an int16 value.
func (q *DenseLayer) activate(v int32) int32 {
	shift := q.TableShift()
	switch q.Activation {
	case model.ReLU:
		return max(v, 0)
	case model.Tanh:
		return tanhQ15(v, shift)
	case model.Logistic:
		return logisticQ16(v, shift) >> 1
	}
	return v
}

// TableShift returns how far a pre-activation is shifted right to an index of the tanh table.
func (q *DenseLayer) TableShift() uint8 { return uint8(q.Fraction - tableBits) }

// accumulate returns the accumulator of row r for the input v: bias plus products, not rescaled.
func (m *Matrix) accumulate(r int, v []int32) int32 {
	w := m.W[r*m.Cols : (r+1)*m.Cols]
	w = w[:len(v)]
	sum := m.Bias[r]
	for i, x := range v {
		sum += w[i] * x
	}
	return sum
}
