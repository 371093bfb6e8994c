package quant

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"kerf/fault"
	"kerf/model"
)

// reached is the share of its bound that the worst input of a row must reach.
// Only the bound's 32768 for an input that ends at 32767 keeps it below 1.
const reached = 0.99

// TestBoundHoldsAndIsReached feeds every row its worst input: each factor at
// the end of its range that has the sign of its weight, then all of them the
// other way round. That is the largest sum in either direction.
func TestBoundHoldsAndIsReached(t *testing.T) {
	for i, formats := range AllFormats() {
		seed := uint64(i)
		t.Run(fmt.Sprintf("seed %d, %s", seed, formats), func(t *testing.T) {
			net := randomNetwork(t, seed, 11, 9, 3, formats)
			for _, m := range net.Matrices() {
				lowest := int32(minInt16)
				if m != net.Layers[0].Input {
					lowest = -maxInt16 // a state never reaches -1
				}
				for r := range m.Rows {
					checkBound(t, m, r, lowest)
				}
			}
		})
	}
}

func checkBound(t *testing.T, m *Matrix, r int, lowest int32) {
	t.Helper()
	half := int64(0)
	if m.Rescaled() {
		half = int64(1) << (m.Shift[r] - 1)
	}
	worst := int64(0)
	for _, direction := range []int32{1, -1} {
		x := make([]int32, m.Cols)
		sum := int64(m.Bias[r])
		for c, w := range m.W[r*m.Cols : (r+1)*m.Cols] {
			if x[c] = lowest; w*direction > 0 {
				x[c] = maxInt16
			}
			sum += int64(w) * int64(x[c])
		}
		worst = max(worst, max(sum, -sum)+half)
		if m.Rescaled() {
			checkAgainst64Bits(t, m, r, x, sum, half)
		}
	}
	switch {
	case worst > m.Bound[r]:
		t.Errorf("%s, row %d: sum %d exceeds its bound %d", m.Name, r, worst, m.Bound[r])
	case m.Bound[r] > AccumulatorLimit:
		t.Errorf("%s, row %d: bound %d exceeds the accumulator", m.Name, r, m.Bound[r])
	case float64(worst) < reached*float64(m.Bound[r]):
		t.Errorf("%s, row %d: the worst input reaches %d, the bound is %d", m.Name, r, worst,
			m.Bound[r])
	}
}

// checkAgainst64Bits compares the 32-bit engine with the same row in 64 bits.
func checkAgainst64Bits(t *testing.T, m *Matrix, r int, x []int32, sum, half int64) {
	t.Helper()
	got := make([]int32, m.Rows)
	m.results(0, m.Rows, x, got)
	want := max(minInt16, min(maxInt16, (sum+half)>>m.Shift[r]))
	if int64(got[r]) != want || got[r] != m.row(r, x) {
		t.Errorf("%s, row %d: the engine gives %d and %d, 64 bits give %d", m.Name, r, got[r],
			m.row(r, x), want)
	}
}

// A row keeps as many fraction bits as it can: with one more, the largest
// weight leaves its word, the sum leaves the accumulator, or the shift leaves 1..30.
func TestNoFractionBitIsGivenAway(t *testing.T) {
	const inFraction, outFraction = 12, 10
	p := RandomFloat(3, 11, 9, 3)
	layer := p.Net.Recurrent[0]
	for _, bits := range []int{8, 16} {
		m, err := quantizeMatrix(layer.W, layer.B, rowSpec{name: "weight_ih", rows: 27, cols: 11,
			wordBits: bits, in: inFraction, out: outFraction})
		if err != nil {
			t.Fatal(err)
		}
		for r, fraction := range m.Fraction {
			unit := math.Ldexp(1, fraction+1)
			top, sum := 0.0, 0.0
			for _, w := range layer.W[r*11 : (r+1)*11] {
				top = math.Max(top, math.Round(math.Abs(w)*unit))
				sum += math.Round(math.Abs(w) * unit)
			}
			shift := fraction + 1 + inFraction - outFraction
			bound := sum*32768 + math.Round(math.Abs(layer.B[r])*unit*math.Ldexp(1, inFraction)) +
				math.Ldexp(1, shift-1)
			if top <= math.Ldexp(1, bits-1)-1 && bound <= math.MaxInt32 && shift <= 30 {
				t.Errorf("int%d, row %d: %d fraction bits, but %d fit", bits, r, fraction,
					fraction+1)
			}
			for c, w := range layer.W[r*11 : (r+1)*11] {
				if math.Abs(float64(m.W[r*11+c])-w*math.Ldexp(1, fraction)) > 0.5 {
					t.Errorf("int%d, row %d, column %d: %d is not the nearest to %g with %d "+
						"fraction bits", bits, r, c, m.W[r*11+c], w, fraction)
				}
			}
		}
	}
}

func TestUnusualRows(t *testing.T) {
	const inFraction, outFraction = 12, 10
	for _, c := range []struct {
		name    string
		weights []float64
		bias    float64
	}{
		{"all zero", []float64{0, 0}, 0},
		{"bias only", []float64{0, 0}, -0.75},
		{"huge bias, tiny weights", []float64{1e-7, -1e-7}, 30000},
		{"tiny weights", []float64{1e-9, 1e-12}, 0},
		{"one large weight", []float64{120, 1e-3}, 0},
		// one bit more would be 128 or 32768, one too many for its word
		{"power of two", []float64{-1, 0.5}, 0.25},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, bits := range []int{8, 16} {
				// The same row for all three gates of one unit.
				w := slices.Concat(c.weights, c.weights, c.weights)
				m, err := quantizeMatrix(w, []float64{c.bias, c.bias, c.bias},
					rowSpec{name: "weight_ih", rows: 3, cols: 2, wordBits: bits, in: inFraction,
						out: outFraction})
				if err != nil {
					t.Fatal(err)
				}
				for r := range m.Rows {
					checkBound(t, m, r, minInt16)
				}
				if m.Shift[0] < 1 || m.Shift[0] > 30 {
					t.Errorf("int%d: shift %d leaves 1..30", bits, m.Shift[0])
				}
				// The bias has 15 or more bits more than a weight: it must
				// survive to half of its last place.
				step := math.Ldexp(1, -m.Fraction[0]-inFraction)
				if got := float64(m.Bias[0]) * step; math.Abs(got-c.bias) > step/2 {
					t.Errorf("int%d: bias %g, want %g to %g", bits, got, c.bias, step/2)
				}
				for i, w := range c.weights {
					step := math.Ldexp(1, -m.Fraction[0])
					if word := int32(1)<<(bits-1) - 1; m.W[i] > word || m.W[i] < -word {
						t.Errorf("int%d: weight %d leaves ±%d", bits, m.W[i], word)
					}
					if got := float64(m.W[i]) * step; math.Abs(got-w) > step/2 {
						t.Errorf("int%d: weight %g, want %g to %g", bits, got, w, step/2)
					}
				}
			}
		})
	}
}

// Compensated rounding tries finer scales than the largest weight allows, but none that shifts by
// more than 30, however small the weights.
func TestFinerScalesKeepTheShift(t *testing.T) {
	_, moments := correlatedInputs(rand.New(rand.NewPCG(6, 0)), 2, 50)
	for _, weight := range []float64{0, 1e-12, 1e-9, 1e-7, 1e-6, 1e-5} {
		m, err := quantizeMatrix([]float64{weight, -weight}, []float64{0},
			rowSpec{name: "weight_ih", rows: 1, cols: 2, wordBits: 8, in: 12, out: 10,
				compensate: newCompensator(moments)})
		if err != nil {
			t.Fatal(err)
		}
		if m.Shift[0] < 1 || m.Shift[0] > 30 {
			t.Errorf("weights of %g: shift %d leaves 1..30", weight, m.Shift[0])
		}
	}
}

// Values that no number of fraction bits can hold are refused, by name.
func TestRowsThatDoNotFitAreRefused(t *testing.T) {
	for _, c := range []struct {
		name    string
		spoil   func(net *model.Network)
		tensor  string
		row     int
		largest float64
	}{
		{"input weight", func(n *model.Network) {
			n.Recurrent[0].W[7*3+1] = -1e9
		}, "layer.weight_ih", 7, 1e9},
		{"input bias", func(n *model.Network) {
			n.Recurrent[0].B[4] = 1e9
		}, "layer.weight_ih", 4, 0},
		{"recurrent weight", func(n *model.Network) {
			n.Recurrent[0].U[11*4] = 1e9
		}, "layer.weight_hh", 11, 1e9},
		{"recurrent bias", func(n *model.Network) {
			n.Recurrent[0].D[0] = -1e9
		}, "layer.weight_hh", 0, 0},
		{"head weight", func(n *model.Network) {
			n.Dense[0].W[1*4+2] = 1e12
		}, "head.weight", 1, 1e12},
		{"head bias", func(n *model.Network) { n.Dense[0].B[0] = 1e12 }, "head.weight", 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, formats := range AllFormats() {
				p := RandomFloat(8, 3, 4, 2)
				for o := range p.Outputs {
					p.Outputs[o].Mean, p.Outputs[o].Std = 0, 1
				}
				c.spoil(p.Net)
				_, err := Quantize(p, Ranges(3, 4), formats, Nearest)
				var outOfRange *RangeError
				if !errors.As(err, &outOfRange) {
					t.Fatalf("%s: error %v, want a *RangeError", formats, err)
				}
				if outOfRange.Tensor != c.tensor || outOfRange.Row != c.row {
					t.Errorf("%s: refuses %s, row %d; want %s, row %d", formats, outOfRange.Tensor,
						outOfRange.Row, c.tensor, c.row)
				}
				if c.largest != 0 && outOfRange.Largest != c.largest {
					t.Errorf("%s: largest weight %g, want %g", formats, outOfRange.Largest,
						c.largest)
				}
				if place := fmt.Sprintf("%s, row %d: ", c.tensor,
					c.row); !strings.HasPrefix(err.Error(), place) || fault.Hint(err) == "" {
					t.Errorf("%s: message %q, want %q in front, and a hint", formats, err, place)
				}
			}
		})
	}
}

func TestRangeErrorMessage(t *testing.T) {
	err := &RangeError{Tensor: "weight_ih", Row: 3, Largest: 2.5e9, Bias: -4}
	if got, want := err.Error(), "weight_ih, row 3: the largest weight 2.5e+09 and the bias -4 "+
		"do not fit one fixed-point row"; got != want {
		t.Errorf("message %q, want %q", got, want)
	}
}

// Small gates ask for 12 gate fraction bits. A weight of 500 fits int8 with -2
// fraction bits (127·4 = 508); with 14 input fraction bits its products then
// carry 12, of which the shift takes at least one: 11 are left for the gates.
func TestLargeWeightsMakeTheGatesCoarser(t *testing.T) {
	p := RandomFloat(8, 3, 4, 2)
	p.Net.Recurrent[0].W[0] = 500
	net := mustQuantize(t, p, Ranges(1, 1), Widths(8, 8, 8, 16))
	if net.InputFraction != 14 || net.Layers[0].GateFraction != 11 {
		t.Fatalf("%d input and %d gate fraction bits, want 14 and 11", net.InputFraction,
			net.Layers[0].GateFraction)
	}
	if net.Layers[0].Input.Fraction[0] != -2 || net.Layers[0].Input.Shift[0] != 1 ||
		net.Layers[0].Input.W[0] != 125 {
		t.Errorf("%d fraction bits, shift %d, weight %d; want -2, 1, 125",
			net.Layers[0].Input.Fraction[0], net.Layers[0].Input.Shift[0], net.Layers[0].Input.W[0])
	}
}

func TestUnknownWidthsAreRefused(t *testing.T) {
	p := RandomFloat(8, 3, 4, 2)
	for _, f := range []Formats{Widths(5, 8, 8, 16), Widths(8, 32, 8, 16), Widths(8, 8, 0, 16),
		Widths(8, 8, 8, 8), {}, {Layers: Widths(8, 8, 8, 16).Layers}, {Dense: []int{8}}} {
		if _, err := Quantize(p, Ranges(3, 4), f, Nearest); err == nil {
			t.Errorf("%+v is accepted", f)
		}
	}
}

// A bias is the nearest step of its accumulator.
func TestBiasIsTheNearestStep(t *testing.T) {
	for seed := range uint64(20) {
		p := RandomFloat(seed, 3, 4, 2)
		m := mustQuantize(t, p, Ranges(3, 4), Widths(8, 8, 8, 16)).Layers[0].Input
		for r, bias := range p.Net.Recurrent[0].B {
			want := bias * math.Ldexp(1, m.Fraction[r]+m.InputFraction)
			if off := math.Abs(float64(m.Bias[r]) - want); off > 0.5 {
				t.Errorf("seed %d, row %d: the bias %d is %.3f steps from %g", seed, r, m.Bias[r],
					off, want)
			}
		}
	}
}

// A row that fills the accumulator to its last step is accepted, one step more is not: 65535·32768
// + 32767 = 2^31 - 1.
func TestARowMayFillTheAccumulator(t *testing.T) {
	spec := &rowSpec{out: accumulator}
	if row, ok := spec.fix([]int32{65535}, 32767, 0, 0); !ok || row.bound != AccumulatorLimit {
		t.Errorf("bound %d of %d: accepted %v", row.bound, int64(AccumulatorLimit), ok)
	}
	if row, ok := spec.fix([]int32{65535}, 32768, 0, 0); ok {
		t.Errorf("bound %d is accepted", row.bound)
	}
}
