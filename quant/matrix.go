package quant

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"kerf/fault"
)

const (
	tableBits       = 5   // log2 of tableStepsPerOne
	maxGateFraction = 12  // int16 then ends at ±2^(15-12) = ±8, as the table does
	minGateFraction = 6   // the shift into the table is 6 - tableBits = 1, its least
	maxCellFraction = 12  // as maxGateFraction: a narrow cell goes into the table as it is
	coarsest        = -15 // of a calibrated format: int16 then reaches 2^(15+15) = 2^30

	stateFraction     = 15 // of the 16-bit state, bounded by 1, and of the view of a wider state
	wideStateFraction = 30 // of the 32-bit state; one bit is left for a difference of two states

	// headroom is how many times as far as the selection recordings a calibrated range reaches
	// (common practice, no source); values beyond the range saturate.
	headroom = 1.25
)

// Worst errors of tanh and logistic by the table, over the whole int16 domain and all gate formats.
// A test measures them against math.Tanh; they are rounded up.
const (
	WorstTanhError     = 8.0e-5
	WorstLogisticError = 4.0e-5 // half of it: the logistic is (1 + tanh)/2
)

// largestWord returns the largest magnitude of a weight: the range is kept symmetric, so 2^(bits-1)
// - 1.
func largestWord(bits int) float64 { return float64(int32(1)<<(bits-1)) - 1 }

// scale returns 2^fraction, |fraction| < 1023.
func scale(fraction int) float64 {
	const bias, mantissaBits = 1023, 52
	return math.Float64frombits(uint64(bias+fraction) << mantissaBits)
}

// Matrix is one weight matrix in fixed point with its bias. Row r holds weights with Fraction[r]
// fraction bits. The products with the inputs, the accumulator and the bias of the row have
// Fraction[r] + InputFraction.
type Matrix struct {
	Name          string
	Rows, Cols    int
	WordBits      int     // word of a weight: 4, 8 or 16
	InputFraction int     // fraction bits of the inputs
	W             []int32 // Rows × Cols, each within the word
	Bias          []int32 // Rows, at the scale of the accumulator
	Fraction      []int   // Rows
	// Shift has, per row, the bits from the accumulator to the format of the result; 0 = the
	// accumulator is the result.
	Shift []uint8
	// Bound has, per row, the magnitude that the accumulator never exceeds, whatever the inputs:
	// Σ|w|·32768 + |bias| + half a step of the result, and what is added to the accumulator later.
	Bound []int64
}

// accumulator in the place of the fraction bits of a result leaves the result at the scale of the
// accumulator.
const accumulator = math.MinInt

// rowSpec says how the rows of a matrix are brought to fixed point.
type rowSpec struct {
	name       string
	rows, cols int
	wordBits   int
	in, out    int // fraction bits of inputs and results; out may be accumulator
	// reserve has, per row, the magnitude that is added to the accumulator later; nil for none.
	reserve    []float64
	common     bool         // all rows get the fraction bits of the coarsest row
	compensate *compensator // nil: weights are rounded to nearest

	byRow     []*compensator // per row: instead of compensate; nil: compensate for all
	bitsByRow []int          // per row: its weights are rounded as for this word; nil: wordBits

	capped bool // no row has more than finest fraction bits
	finest int
}

// quantizeMatrix brings w [rows × cols] and b [rows] to fixed point row by row. The fraction bits
// of a row are such that the shift to the result stays within 1..30 and the accumulator bound
//
//	Σ|w|·32768 + |b| + reserve + 2^(shift-1) <= 2^31 - 1
//
// holds. Among those, rounding to nearest takes the largest number with which the largest weight
// fits its word; compensated rounding takes the number that adds the least variance to the result.
// A row that no number of fraction bits fits is a [*RangeError].
func quantizeMatrix(w, b []float64, spec rowSpec) (*Matrix, error) {
	if spec.common {
		return quantizeCommon(w, b, spec)
	}
	m := &Matrix{
		Name: spec.name, Rows: spec.rows, Cols: spec.cols, WordBits: spec.wordBits,
		InputFraction: spec.in,
		W:             make([]int32, spec.rows*spec.cols), Bias: make([]int32, spec.rows),
		Fraction: make([]int, spec.rows), Shift: make([]uint8, spec.rows),
		Bound: make([]int64, spec.rows),
	}
	for r := range spec.rows {
		row := w[r*spec.cols : (r+1)*spec.cols]
		reserve := 0.0
		if spec.reserve != nil {
			reserve = spec.reserve[r]
		}
		if spec.byRow != nil {
			spec.compensate = spec.byRow[r]
		}
		if spec.bitsByRow != nil {
			spec.wordBits = spec.bitsByRow[r]
		}
		best, ok := spec.bestRow(row, b[r], reserve, m.W[r*spec.cols:(r+1)*spec.cols])
		if !ok {
			return nil, &RangeError{Tensor: spec.name, Row: r, Largest: largest(row), Bias: b[r]}
		}
		copy(m.W[r*spec.cols:], best.words)
		m.Bias[r], m.Fraction[r], m.Shift[r], m.Bound[r] = best.bias, best.fraction, best.shift,
			best.bound
	}
	return m, nil
}

// quantizeCommon brings a matrix to fixed point with equally many fraction bits in all rows: it
// lowers the largest number until every row takes it.
func quantizeCommon(w, b []float64, spec rowSpec) (*Matrix, error) {
	spec.common = false
	m, err := quantizeMatrix(w, b, spec)
	for err == nil {
		low, high := slices.Min(m.Fraction), slices.Max(m.Fraction)
		if low == high {
			return m, nil
		}
		spec.capped, spec.finest = true, low
		m, err = quantizeMatrix(w, b, spec)
	}
	return nil, err
}

// fixedRow is one row in fixed point.
type fixedRow struct {
	words    []int32
	bias     int32
	fraction int
	shift    uint8
	bound    int64
}

// clippedScales is how many finer scales than the largest weight allows are tried: each doubles the
// resolution and halves the range (our choice).
const clippedScales = 2

// bestRow tries numbers of fraction bits from the largest down and returns the best row; ok is
// false if none fits. words is memory for the words of the row.
func (spec *rowSpec) bestRow(row []float64, bias, reserve float64,
	words []int32) (best fixedRow, ok bool) {
	lowest, highest := 1-spec.in, 30-spec.in
	if spec.out != accumulator {
		lowest, highest = spec.out-spec.in+1, spec.out-spec.in+30
	}
	if spec.capped {
		highest = min(highest, spec.finest)
	}
	limit := largestWord(spec.wordBits)
	fits, top := highest, largest(row) // the finest scale that holds the largest weight
	for fits >= lowest && math.Round(top*scale(fits)) > limit {
		fits--
	}
	if spec.compensate == nil {
		for f := fits; f >= lowest; f-- {
			one := scale(f)
			for c, v := range row {
				words[c] = int32(math.Round(v * one))
			}
			if fixed, ok := spec.fix(words, bias, reserve, f); ok {
				return fixed, true
			}
		}
		return fixedRow{}, false
	}
	least := math.Inf(1)
	for f := min(fits+clippedScales, highest); f >= lowest && (f >= fits || !ok); f-- {
		words := spec.compensate.round(row, f, limit)
		damage := spec.compensate.damage(row, words, f)
		if damage >= least {
			continue
		}
		if fixed, fine := spec.fix(words, bias+spec.compensate.meanRest(row, words, f), reserve,
			f); fine {
			best, ok, least = fixed, true, damage
		}
	}
	return best, ok
}

// fix adds bias and shift to the words of a row, and its bound. ok is false if the bound exceeds
// the accumulator.
func (spec *rowSpec) fix(words []int32, bias, reserve float64,
	fraction int) (row fixedRow, ok bool) {
	shift := 0
	half := int64(0)
	if spec.out != accumulator {
		shift = fraction + spec.in - spec.out
		half = int64(1) << (shift - 1)
	}
	roundedBias := math.Round(bias * scale(fraction+spec.in))
	reserved := math.Ceil(reserve * scale(fraction+spec.in))
	if math.Abs(roundedBias)+reserved > AccumulatorLimit {
		return fixedRow{}, false
	}
	bound := accumulatorBound(words, int64(math.Abs(roundedBias))+int64(reserved), half)
	return fixedRow{words, int32(roundedBias), fraction, uint8(shift), bound},
		bound <= AccumulatorLimit
}

// largest returns the largest magnitude of some values.
func largest(row []float64) float64 {
	top := 0.0
	for _, v := range row {
		top = max(top, math.Abs(v))
	}
	return top
}

// RangeError says that a row of weights cannot be brought to fixed point.
type RangeError struct {
	Tensor  string  // name of the matrix
	Row     int     // from 0
	Largest float64 // largest weight of the row, in magnitude
	Bias    float64 // of the row
}

// Error names the tensor, the row and the values.
func (e *RangeError) Error() string { return e.Unwrap().Error() }

// Unwrap returns the [fault.Error] with message and hint.
func (e *RangeError) Unwrap() error {
	return fault.New(fmt.Sprintf("%s, row %d: the largest weight %g and the bias %g do not fit "+
		"one fixed-point row", e.Tensor, e.Row, e.Largest, e.Bias),
		"normalise the features (mean 0, std 1) before training, or give mean and std in "+
			"features.csv instead of in the weights; a recorded value far beyond all others of "+
			"its feature has the same effect")
}

// isRangeError reports whether an error is a [*RangeError].
func isRangeError(err error) bool {
	var out *RangeError
	return errors.As(err, &out)
}

// fractionFor returns the largest number of fraction bits, at most limit, with which an int16 holds
// values up to magnitude times the headroom.
func fractionFor(magnitude float64, limit int) int {
	for f := limit; f > coarsest; f-- {
		if magnitude*headroom*scale(f) <= maxInt16 {
			return f
		}
	}
	return coarsest
}
