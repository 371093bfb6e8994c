package model

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
	"strings"
)

// Tensor is a named array of a model file, widened to float64 without loss.
type Tensor struct {
	Shape []int     // empty for a single value
	Data  []float64 // row-major, as many values as the product of Shape
}

// maxTensorBytes is the most bytes that all tensors of one file may take on disk together. Our
// choice: some hundred times the flash of the largest microcontrollers, so that only a damaged or
// hostile file has more.
const maxTensorBytes = 256 << 20

// maxAxes is the most dimensions that NumPy arrays have (NumPy 2 reference, numpy.ndarray).
const maxAxes = 64

// elements returns the product of the dimensions. It reports false if there are more than maxAxes,
// one is negative, or the product does not fit an int.
func elements(shape []int) (int, bool) {
	if len(shape) > maxAxes {
		return 0, false
	}
	product := uint64(1)
	for _, d := range shape {
		if d < 0 {
			return 0, false
		}
		high, low := bits.Mul64(product, uint64(d))
		if high != 0 || low > math.MaxInt {
			return 0, false
		}
		product = low
	}
	return int(product), true
}

// formatShape writes a shape as "[21 × 5]", with "any" for [anySize].
func formatShape(shape []int) string {
	if len(shape) > maxAxes {
		return fmt.Sprintf("[of %d axes]", len(shape))
	}
	words := make([]string, len(shape))
	for i, d := range shape {
		words[i] = fmt.Sprint(d)
		if d == anySize {
			words[i] = "any"
		}
	}
	return "[" + strings.Join(words, " × ") + "]"
}

// formatIndex writes the place of a row-major flat index as "[3, 1]".
func formatIndex(flat int, shape []int) string {
	words := make([]string, len(shape))
	for axis := len(shape) - 1; axis >= 0; axis-- {
		words[axis] = fmt.Sprint(flat % shape[axis])
		flat /= shape[axis]
	}
	return "[" + strings.Join(words, ", ") + "]"
}

// floatType is one encoding of floats in a file.
type floatType struct {
	bytes  int // of one value
	decode func(order binary.ByteOrder, raw []byte) float64
}

// The encodings that are read.
var (
	float16Type = floatType{2, func(o binary.ByteOrder, raw []byte) float64 {
		return fromFloat16(o.Uint16(raw))
	}}
	bfloat16Type = floatType{2, func(o binary.ByteOrder, raw []byte) float64 {
		// A bfloat16 is the upper half of a float32.
		return float64(math.Float32frombits(uint32(o.Uint16(raw)) << 16))
	}}
	float32Type = floatType{4, func(o binary.ByteOrder, raw []byte) float64 {
		return float64(math.Float32frombits(o.Uint32(raw)))
	}}
	float64Type = floatType{8, func(o binary.ByteOrder, raw []byte) float64 {
		return math.Float64frombits(o.Uint64(raw))
	}}
)

// values decodes raw, whose length is a multiple of t.bytes.
func (t floatType) values(order binary.ByteOrder, raw []byte) []float64 {
	data := make([]float64, len(raw)/t.bytes)
	for i := range data {
		data[i] = t.decode(order, raw[i*t.bytes:][:t.bytes])
	}
	return data
}

// fromFloat16 widens a half-precision number: 1 sign bit, 5 exponent bits (offset 15), 10 fraction
// bits (IEEE 754-2008, binary16).
func fromFloat16(b uint16) float64 {
	exponent, fraction := int(b>>10&0x1f), float64(b&0x3ff)
	var magnitude float64
	switch exponent {
	case 0x1f:
		if fraction != 0 {
			return math.NaN()
		}
		magnitude = math.Inf(1)
	case 0:
		magnitude = math.Ldexp(fraction, -24)
	default:
		magnitude = math.Ldexp(1024+fraction, exponent-25)
	}
	if b>>15 != 0 {
		return -magnitude
	}
	return magnitude
}
