package quant

import (
	"fmt"
	"math"
)

const (
	tableBits       = 5 // log2 of tableStepsPerOne
	maxGateFraction = 12
	minGateFraction = 6

	stateFraction     = 15 // of the 16-bit state and of the 16-bit view of a wider one
	wideStateFraction = 30 // of the 32-bit state

	// maxInt16Magnitude is the largest magnitude of an int16 factor.
	maxInt16Magnitude = 32768

	// AccumulatorLimit is the largest sum an int32 accumulator holds.
	AccumulatorLimit = math.MaxInt32

	// headroom is how much further than the selection recordings a calibrated
	// range reaches (common practice, no source); values beyond it saturate.
	headroom = 1.25
)

// Worst errors of the table over the whole int16 domain and all gate formats,
// measured against math.Tanh by a test.
const (
	WorstTanhError     = 8.0e-5
	WorstLogisticError = 4.0e-5
)

// Formats are the word widths of a fixed-point network.
type Formats struct {
	InputBits     int // weights from the features: 8 or 16
	RecurrentBits int // weights from the state: 8 or 16
	HeadBits      int // weights of the head: 8 or 16
	StateBits     int // hidden state: 16 (15 fraction bits) or 32 (30 fraction bits)
}

// String names the formats in words.
func (f Formats) String() string {
	weights := fmt.Sprintf("int%d weights", f.InputBits)
	if f.RecurrentBits != f.InputBits {
		weights = fmt.Sprintf("int%d input and int%d recurrent weights", f.InputBits, f.RecurrentBits)
	}
	return fmt.Sprintf("%s, int%d head, int%d state", weights, f.HeadBits, f.StateBits)
}

// Validate refuses widths that the integer engine does not have.
func (f Formats) Validate() error {
	for _, bits := range []int{f.InputBits, f.RecurrentBits, f.HeadBits} {
		if bits != 8 && bits != 16 {
			return fmt.Errorf("weights of %d bits are not available: choose 8 or 16", bits)
		}
	}
	if f.StateBits != 16 && f.StateBits != 32 {
		return fmt.Errorf("a state of %d bits is not available: choose 16 or 32", f.StateBits)
	}
	return nil
}

// largestWord is the largest magnitude of a weight: the range is kept symmetric.
func largestWord(bits int) float64 { return float64(int32(1)<<(bits-1)) - 1 }

// scale is 2^fraction.
func scale(fraction int) float64 { return math.Ldexp(1, fraction) }

// Matrix is one weight matrix in fixed point with its bias. Row r holds
// weights with Fraction[r] fraction bits; products with the input carry
// Fraction[r] + InputFraction, and so does the bias.
type Matrix struct {
	Name          string
	Rows, Cols    int
	WordBits      int
	InputFraction int
	W             []int32 // Rows × Cols, each within the word
	Bias          []int32 // Rows, at the scale of the accumulator
	Fraction      []int   // Rows
	Shift         []uint8 // Rows; from the accumulator to the format of the result, 0 = the accumulator is the result
	Bound         []int64 // Rows; the accumulator never exceeds this magnitude, rounding included
}

// quantizeMatrix rounds w [rows × cols] and b [rows] row by row. Every row gets
// the most fraction bits for which the largest weight fits its word, the shift
// to outFraction stays within 1..30, and the accumulator bound
//
//	Σ|w|·32768 + |b| + 2^(shift-1) <= 2^31 - 1
//
// holds. outFraction < 0 leaves the accumulator as it is.
func quantizeMatrix(name string, w, b []float64, rows, cols, wordBits, inFraction, outFraction int) (*Matrix, error) {
	m := &Matrix{
		Name: name, Rows: rows, Cols: cols, WordBits: wordBits, InputFraction: inFraction,
		W: make([]int32, rows*cols), Bias: make([]int32, rows),
		Fraction: make([]int, rows), Shift: make([]uint8, rows), Bound: make([]int64, rows),
	}
	lowest, highest := 1-inFraction, 30-inFraction
	if outFraction >= 0 {
		lowest, highest = outFraction-inFraction+1, outFraction-inFraction+30
	}
	for r := range rows {
		row := w[r*cols : (r+1)*cols]
		fraction := highest
		for fraction >= lowest && !m.roundRow(r, row, b[r], fraction, outFraction) {
			fraction--
		}
		if fraction < lowest {
			return nil, &RangeError{Tensor: name, Row: r, Largest: largest(row), Bias: b[r]}
		}
	}
	return m, nil
}

// roundRow tries one number of fraction bits and says whether it fits.
func (m *Matrix) roundRow(r int, row []float64, bias float64, fraction, outFraction int) bool {
	if math.Round(largest(row)*scale(fraction)) > largestWord(m.WordBits) {
		return false
	}
	shift := 0
	half := int64(0)
	if outFraction >= 0 {
		shift = fraction + m.InputFraction - outFraction
		half = int64(1) << (shift - 1)
	}
	roundedBias := math.Round(bias * scale(fraction+m.InputFraction))
	if math.Abs(roundedBias) > AccumulatorLimit {
		return false
	}
	sum := int64(0)
	for c, v := range row {
		q := int32(math.Round(v * scale(fraction)))
		m.W[r*m.Cols+c] = q
		sum += int64(max(q, -q))
	}
	bound := sum*maxInt16Magnitude + int64(math.Abs(roundedBias)) + half
	if bound > AccumulatorLimit {
		return false
	}
	m.Bias[r], m.Fraction[r], m.Shift[r], m.Bound[r] = int32(roundedBias), fraction, uint8(shift), bound
	return true
}

func largest(row []float64) float64 {
	top := 0.0
	for _, v := range row {
		top = math.Max(top, math.Abs(v))
	}
	return top
}

// RangeError says that a row of weights cannot be brought to fixed point.
type RangeError struct {
	Tensor  string
	Row     int
	Largest float64 // largest weight of the row, in magnitude
	Bias    float64
}

// Error names tensor, row and values.
func (e *RangeError) Error() string {
	return fmt.Sprintf("%s, row %d: the largest weight %g and the bias %g do not fit one fixed-point row", e.Tensor, e.Row, e.Largest, e.Bias)
}

// HintText returns the advice that goes with the error.
func (e *RangeError) HintText() string {
	return "normalise the features (mean 0, std 1) before training, or give mean and std in features.csv instead of in the weights"
}

// fractionFor is the largest number of fraction bits, at most limit, with which
// an int16 holds values up to magnitude times the headroom.
func fractionFor(magnitude float64, limit int) int {
	for f := limit; f > -16; f-- {
		if magnitude*headroom*scale(f) <= maxInt16 {
			return f
		}
	}
	return -16
}
