package quant

import (
	"fmt"
	"slices"

	"kerf/model"
)

// Check reports, as an error, why a network that was read, not made by [Quantize], cannot be one
// that Quantize made: sizes that do not fit together, words beyond their range, shifts that the
// arithmetic does not take. It proves the bound of every row anew and notes it in [Matrix.Bound]. A
// network that passes can be run with any input.
func (n *Network) Check() error {
	if len(n.Features) == 0 || len(n.Layers) == 0 || len(n.Dense) == 0 || len(n.Outputs) == 0 ||
		n.InputFraction < coarsest || n.InputFraction > 14 {
		return fmt.Errorf("the network lacks features, layers, outputs or a format of its inputs")
	}
	in, fraction := len(n.Features), n.InputFraction
	for i, l := range n.Layers {
		if err := l.check(in, fraction); err != nil {
			return fmt.Errorf("layer %d: %w", i, err)
		}
		in, fraction = l.Units, l.OutputFraction
	}
	for i, d := range n.Dense {
		if err := d.check(in, fraction, len(n.Outputs)); err != nil {
			return fmt.Errorf("dense layer %d: %w", i, err)
		}
		in, fraction = d.Weights.Rows, d.outputFraction()
	}
	return nil
}

// check tests a recurrent layer that takes in values with the given number of fraction bits.
func (q *Layer) check(in, fraction int) error {
	state := q.Formats.StateBits
	switch {
	case q.Units < 1:
		return fmt.Errorf("%d units", q.Units)
	case state != 16 && (state != 32 || !hasWideState(q.Kind)):
		return fmt.Errorf("a state of %d bits", state)
	case q.InputFraction != fraction:
		return fmt.Errorf("it takes %d fraction bits, the layer before it gives %d",
			q.InputFraction, fraction)
	}
	if q.Kind == model.ElmanReLU {
		if q.GateFraction != q.OutputFraction {
			return fmt.Errorf("%d and %d fraction bits before and behind the activation",
				q.GateFraction, q.OutputFraction)
		}
	} else if q.OutputFraction != stateFraction || q.GateFraction < minGateFraction ||
		q.GateFraction > maxGateFraction {
		return fmt.Errorf("%d fraction bits of the state and %d of the gates", q.OutputFraction,
			q.GateFraction)
	}
	if q.Kind == model.LSTM {
		low, high := minGateFraction, maxCellFraction
		if q.wide() {
			low, high = wideStateFraction-stateFraction, wideStateFraction // what cell32 takes
		}
		if q.CellFraction < low || q.CellFraction > high {
			return fmt.Errorf("%d fraction bits of the cell", q.CellFraction)
		}
	}
	rows := q.Kind.Gates() * q.Units
	if err := q.Input.check(rows, in, fraction, q.GateFraction, nil); err != nil {
		return err
	}
	return q.Recurrent.check(rows, q.Units, q.OutputFraction, q.GateFraction, nil)
}

// check tests a dense layer that takes in values with the given number of fraction bits; outputs is
// the number of outputs of the network.
func (q *DenseLayer) check(in, fraction, outputs int) error {
	rows := q.Weights.Rows
	switch {
	case q.InputFraction != fraction:
		return fmt.Errorf("it takes %d fraction bits, the layer before it gives %d",
			q.InputFraction, fraction)
	case q.Last && (rows != outputs || len(q.Out) != outputs):
		return fmt.Errorf("%d rows for %d outputs", rows, outputs)
	case q.UsesTable() && (q.Fraction < minGateFraction || q.Fraction > maxGateFraction):
		return fmt.Errorf("%d fraction bits before the activation", q.Fraction)
	}
	scales, offsets, out := 0, 0, q.Fraction
	var added []int32 // offsets that are added to the accumulator
	if q.Last && q.UsesTable() {
		scales, offsets = rows, rows
	}
	if q.Last && !q.UsesTable() {
		out = accumulator
		if q.Activation == model.ReLU {
			offsets, added = rows, q.Offset
		}
	}
	if len(q.Scale) != scales || len(q.Offset) != offsets {
		return fmt.Errorf("%d scales and %d offsets for %d outputs", len(q.Scale), len(q.Offset),
			rows)
	}
	for o, v := range q.Scale {
		if magnitude(v)*maxInt16Magnitude+magnitude(q.Offset[o]) > AccumulatorLimit {
			return fmt.Errorf("output %d: scale %d and offset %d can overflow", o, v, q.Offset[o])
		}
	}
	if err := q.Weights.check(rows, in, fraction, out, added); err != nil {
		return err
	}
	for o, bits := range q.Out {
		if !q.UsesTable() && bits != q.Weights.Fraction[o]+fraction {
			return fmt.Errorf("output %d: %d fraction bits, its row gives %d", o, bits,
				q.Weights.Fraction[o]+fraction)
		}
	}
	return nil
}

// magnitude returns |v|, in 64 bits because |-2^31| does not fit 32.
func magnitude(v int32) int64 { return max(int64(v), -int64(v)) }

// check tests a matrix of rows × cols. Its inputs have in fraction bits and its results out
// fraction bits; or, with accumulator as out, the results are the accumulators, to which added is
// added per row unless it is empty.
func (m *Matrix) check(rows, cols, in, out int, added []int32) error {
	if m.Rows != rows || m.Cols != cols || len(m.W) != rows*cols || len(m.Bias) != rows ||
		len(m.Fraction) != rows || len(m.Shift) != rows || m.InputFraction != in {
		return fmt.Errorf("%s: its size is not %d × %d, or its inputs have not %d fraction bits",
			m.Name, rows, cols, in)
	}
	if !slices.Contains([]int{4, 8, 16}, m.WordBits) {
		return fmt.Errorf("%s: weights of %d bits", m.Name, m.WordBits)
	}
	limit := int32(largestWord(m.WordBits))
	m.Bound = make([]int64, rows)
	for r := range rows {
		shift, half := 0, int64(0)
		if out != accumulator {
			if shift = m.Fraction[r] + in - out; shift < 1 || shift > 30 {
				return fmt.Errorf("%s, row %d: a shift of %d", m.Name, r, shift)
			}
			half = int64(1) << (shift - 1)
		}
		if int(m.Shift[r]) != shift {
			return fmt.Errorf("%s, row %d: a shift of %d, its fraction bits give %d", m.Name, r,
				m.Shift[r], shift)
		}
		words := m.W[r*cols : (r+1)*cols]
		for _, w := range words {
			if w > limit || w < -limit {
				return fmt.Errorf("%s, row %d: the weight %d has more than %d bits", m.Name, r, w,
					m.WordBits)
			}
		}
		m.Bound[r] = accumulatorBound(words, magnitude(m.Bias[r]), half)
		if len(added) > 0 {
			m.Bound[r] += magnitude(added[r])
		}
		if m.Bound[r] > AccumulatorLimit {
			return fmt.Errorf("%s, row %d: its accumulator can reach %d, more than %d", m.Name, r,
				m.Bound[r], int64(AccumulatorLimit))
		}
	}
	return nil
}
