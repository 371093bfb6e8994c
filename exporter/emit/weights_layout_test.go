package emit

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"kerf/quant/rows"

	"kerf/quant"
	"kerf/testdata/randomnet"
)

// rescaled is a matrix of weights of 0 whose results are shifted right by one bit, so that half of
// a result is 1.
func rescaled(bits, rows, cols int) *quant.Matrix {
	m := &quant.Matrix{WordBits: bits, Rows: rows, Cols: cols, W: make([]int32, rows*cols),
		Bias: make([]int32, rows)}
	for range rows {
		m.Shift = append(m.Shift, 1)
	}
	return m
}

// weightAt reads the weight of one row and column out of the words of rows that are read together,
// as c/rows.c says how they lie.
func weightAt(words []int32, bits int, l rows.Way, cols, r, c int) int32 {
	signed := func(half int32) int32 { return half << 28 >> 28 }
	switch {
	case bits == 4 && l == rows.Dual && c < cols/4*4:
		at := c / 4 * 4
		word := words[at] | words[at+1]<<8 | words[at+2]<<16 | words[at+3]<<24
		return word>>([]int{0, 16, 4, 20}[c%4]+8*r)&15 - 8
	case bits == 4 && l == rows.Dual:
		bytesOfRow := (cols%4 + 1) / 2
		return signed(words[cols/4*4+r*bytesOfRow+c%4/2] >> (4 * (c % 2)))
	case bits == 4 && c < cols/2*2:
		return words[c/2*3+r]>>(4*(c%2))&15 - 8
	case bits == 4:
		return signed(words[c/2*3+r])
	case bits == 8 && l == rows.Dual:
		both := int32(int16(words[2*c] | words[2*c+1]<<8))
		row0 := int32(int8(words[2*c]))
		return []int32{row0, (both - row0) / 256}[r]
	case bits == 8:
		return words[3*c+r] - 128
	case l == rows.Dual && c < cols/2*2:
		return words[c/2*4+2*r+c%2]
	}
	return words[l.Rows*c+r]
}

// The weights that are written are those of the matrix when they are read as c/rows.c says, in
// every word width and way, with columns and rows that are left; those of rows that are left lie in
// order.
func TestWeightsLieAsTheCReadsThem(t *testing.T) {
	random := randomnet.Seeded(3)
	order := []int{4, 0, 6, 2, 1, 5, 3}
	for _, bits := range []int{4, 8, 16} {
		for cols := 1; cols <= 9; cols++ {
			m := rescaled(bits, len(order), cols)
			most := int32(1)<<(bits-1) - 1
			for i := range m.W {
				m.W[i] = random.Int32N(2*most+1) - most
			}
			for _, l := range []rows.Way{rows.Dual, rows.Three} {
				var seen []int
				for _, line := range (block{matrix: m, rows: order}).lines(l) {
					seen = append(seen, line.rows...)
					for i, r := range line.rows {
						for c := range cols {
							got := int32(0)
							switch {
							case len(line.rows) == l.Rows:
								got = weightAt(line.words, bits, l, cols, i, c)
							case bits == 4:
								got = line.words[c/2] >> (4 * (c % 2)) << 28 >> 28
							case bits == 8:
								got = int32(int8(line.words[c]))
							default:
								got = line.words[c]
							}
							if want := m.W[r*cols+c]; got != want {
								t.Fatalf("int%d, %d rows together, %d columns: row %d, column "+
									"%d holds %d, want %d", bits, l.Rows, cols, r, c, got, want)
							}
						}
					}
					for _, w := range line.words {
						if bits < 16 && (w < 0 || w > math.MaxUint8) {
							t.Fatalf("int%d, %d columns: %d is no byte", bits, cols, w)
						}
					}
				}
				if !slices.Equal(seen, order) {
					t.Errorf("int%d, %d rows together: rows %v, want %v", bits, l.Rows, seen, order)
				}
			}
		}
	}
}

// Raised weights are at most three times as large as what they are raised by, and an input is at
// most 2^15: rows are read together as long as that and the bias fit the accumulator. Where weights
// are not raised the bias does not count.
func TestRaisedRowsStayWithinTheAccumulator(t *testing.T) {
	const cols = 50
	for _, c := range []struct {
		bits   int
		l      rows.Way
		raised int64 // what weights are raised by
	}{{4, rows.Dual, 8}, {4, rows.Three, 8}, {8, rows.Dual, 0}, {8, rows.Three, 128},
		{16, rows.Dual, 0},
		{16, rows.Three, 0}} {
		room := math.MaxInt32 - 3*c.raised*cols*(1<<15)
		// half of a result is added: 1
		biases := map[int64]int{0: 6, room - 1: 6, room: 0, -room - 1: 6, -room - 2: 0}
		if c.raised == 0 {
			biases = map[int64]int{math.MaxInt32 - 1: 6, math.MinInt32: 6}
		}
		for bias, want := range biases {
			t.Run(fmt.Sprintf("int%d, %d rows, bias %d", c.bits, c.l.Rows, bias),
				func(t *testing.T) {
					m := rescaled(c.bits, 7, cols)
					m.Bias[3] = int32(bias)
					if got := (block{matrix: m, rows: []int{0, 1, 2, 3, 4, 5, 6}}).inGroups(
						c.l); got !=
						want {
						t.Errorf("%d rows are read together, want %d", got, want)
					}
				})
		}
	}
}
