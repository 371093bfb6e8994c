package quant

import (
	"kerf/model"
	"kerf/quant/rows"
)

// Shape holds the figures that the cost of a network in a device follows from.
type Shape struct {
	Features int          // that the network takes
	Layers   []LayerShape // recurrent, first to last
	Dense    []DenseShape // behind them, first to last
	Formats  Formats      // word widths
	Shifts   Shifts       // zero as long as nothing is quantized
}

// LayerShape is the kind and size of a recurrent layer.
type LayerShape struct {
	Kind  model.Kind
	Units int
}

// DenseShape is the size and activation of a dense layer.
type DenseShape struct {
	Outputs    int
	Activation model.Activation
}

// Shifts holds what the time of a step depends on beside sizes: the bits by which results are
// shifted, which follow from the ranges of the values.
type Shifts struct {
	Layers []LayerShifts
	Dense  []DenseShifts
}

// LayerShifts holds the shifts of a recurrent layer, in bits.
type LayerShifts struct {
	Table     uint8 // of a pre-activation into the tanh table; 0 without one
	Cell      uint8 // LSTM: of the product that is added to the cell
	CellTable uint8 // LSTM: of the cell into the table
	// Input is how far the result of a row is shifted beyond a whole byte, the mean over the rows
	// of W.
	Input     float64
	Recurrent float64 // the same over the rows of U
}

// DenseShifts holds the shifts of a dense layer, in bits.
type DenseShifts struct {
	Table uint8   // 0 without an activation by table
	Rows  float64 // as LayerShifts.Input
}

// IsKnown reports whether the shifts are those of a quantized network.
func (s Shifts) IsKnown() bool { return len(s.Layers) > 0 }

// meanBits returns how many bits the result of a row is shifted beyond a whole byte, the mean over
// the rows.
func (m *Matrix) meanBits() float64 {
	sum := 0
	for _, s := range m.Shift {
		if s >= 8 {
			s -= 8
		}
		sum += int(s)
	}
	return float64(sum) / float64(m.Rows)
}

// outputBytes are the bytes of a scale or an offset of an output, int32.
const outputBytes = 4

// WeightBytes returns the flash of all weights, biases and shifts and, for a last layer with an
// activation, of its scales and offsets. The emitted C checks the figure when it is compiled.
func (s Shape) WeightBytes() int {
	return s.outputConstants() + s.overMatrices(rows.Bytes)
}

// UnfilledBytes returns WeightBytes without the zeros that fill groups of rows and tiles of
// columns: every feature and every unit adds to it. It tells networks apart that take the same.
func (s Shape) UnfilledBytes() int {
	return s.outputConstants() + s.overMatrices(func(rows, columns, bits int) int {
		const rowBytes = 5 // int32 for the bias, uint8 for the shift
		return rows*rowBytes + (rows*columns*bits+7)/8
	})
}

// overMatrices adds up what bytes returns for the matrices that the emitted C reads by themselves.
func (s Shape) overMatrices(bytes func(rows, columns, bits int) int) int {
	total := 0
	in := s.Features
	for i, l := range s.Layers {
		f := s.Formats.Layers[i]
		count := l.Kind.Gates() * l.Units
		total += bytes(count, in, f.InputBits)
		if l.Kind == model.GRUResetBefore { // the rows of the candidate are read by themselves
			total += bytes(l.Units, l.Units, f.RecurrentBits)
			count -= l.Units
		}
		total += bytes(count, l.Units, f.RecurrentBits)
		in = l.Units
	}
	for i, d := range s.Dense {
		total += bytes(d.Outputs, in, s.Formats.Dense[i])
		in = d.Outputs
	}
	return total
}

// outputConstants returns the flash of the scales and offsets of a last layer with an activation.
func (s Shape) outputConstants() int {
	last := s.Dense[len(s.Dense)-1]
	switch last.Activation {
	case model.Tanh, model.Logistic:
		return 2 * outputBytes * last.Outputs
	case model.ReLU:
		return outputBytes * last.Outputs
	}
	return 0
}

// StateBytes returns the RAM of the state between two steps. An array of 16-bit values has an even
// number of them, so that every array begins at a whole word and every compiler gives the state one
// size.
func (s Shape) StateBytes() int {
	total := 0
	for i, l := range s.Layers {
		narrow := 2 * (l.Units + l.Units%2)
		wide := s.Formats.Layers[i].StateBits == 32
		if l.Kind.HasCell() {
			total += narrow // h beside c
		}
		if wide {
			total += 4 * l.Units
		} else {
			total += narrow
		}
	}
	return total
}

// TableBytes returns the flash of the tanh table, 0 if the network does not read it.
func (s Shape) TableBytes() int {
	if !s.UsesTable() {
		return 0
	}
	return 2 * (tableSteps + 2)
}

// MultiplyAccumulates returns the number of products in one step.
func (s Shape) MultiplyAccumulates() int {
	total := 0
	in := s.Features
	for _, l := range s.Layers {
		total += l.Kind.Gates() * l.Units * (in + l.Units)
		in = l.Units
	}
	for _, d := range s.Dense {
		total += d.Outputs * in
		in = d.Outputs
	}
	return total
}
