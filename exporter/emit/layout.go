package emit

import (
	"math"

	"kerf/quant"
)

// layout is how many rows lie together and are read together; c/rows.c says in
// which order.
type layout int

const (
	twoRows   layout = 2
	threeRows layout = 3
)

// raise is what is added to narrow weights so that they have no sign.
func raise(m *quant.Matrix) int32 { return 1 << (m.WordBits - 1) }

// isRaised tells that weights that are read together are stored raised.
func isRaised(m *quant.Matrix, l layout) bool {
	return m.WordBits == 4 || m.WordBits == 8 && l == threeRows
}

// inGroups is how many rows of the block are read together with others. Raised
// weights must leave the accumulator below its limit, whatever the input:
// |bias| + sum |x| (raise + largest raised weight).
func (k block) inGroups(l layout) int {
	m := k.matrix
	if !m.Rescaled() {
		return 0
	}
	for _, r := range k.rows {
		bias := int64(biasWithHalf(m, r))
		if isRaised(m, l) && max(bias, -bias)+3*int64(raise(m))*int64(m.Cols)<<15 > math.MaxInt32 {
			return 0
		}
	}
	if l == twoRows && m.WordBits == 8 && m.Cols > byteColumns {
		return 0
	}
	return len(k.rows) / int(l) * int(l)
}

// byteColumns is how many columns of int8 weights a sum of 24 bits holds when each
// is multiplied by a byte: 127 · 255 · 254 < 2^23; a count of them has 8 bits.
const byteColumns = 254

// line is what one line of a weight array holds.
type line struct {
	rows  []int
	words []int32
}

// lines are the weights of a block, rows that are read together in one line.
func (k block) lines(l layout) []line {
	var all []line
	groups := k.inGroups(l)
	for from := 0; from < len(k.rows); {
		if from >= groups {
			all = append(all, line{k.rows[from : from+1], row(k.matrix, k.rows[from], 0)})
			from++
			continue
		}
		rows := k.rows[from : from+int(l)]
		words := threeRowWords(k.matrix, rows)
		if l == twoRows {
			words = twoRowWords(k.matrix, rows)
		}
		all = append(all, line{rows, words})
		from += int(l)
	}
	return all
}

// row is a row from a column on, in order; of int4 weights two are in a byte, the
// first in the low half.
func row(m *quant.Matrix, r, from int) []int32 {
	weights := m.W[r*m.Cols+from : (r+1)*m.Cols]
	if m.WordBits != 4 {
		words := make([]int32, len(weights))
		for c, v := range weights {
			words[c] = stored(m, v)
		}
		return words
	}
	words := make([]int32, (len(weights)+1)/2)
	for c, v := range weights {
		words[c/2] |= (v & 15) << (4 * (c % 2))
	}
	return words
}

// stored is a weight as an element of its array: a byte, or int16.
func stored(m *quant.Matrix, v int32) int32 {
	if m.WordBits == 16 {
		return v
	}
	return v & math.MaxUint8
}

// threeRowWords are the weights of three rows.
func threeRowWords(m *quant.Matrix, rows []int) []int32 {
	var words []int32
	weight := func(i, c int) int32 { return m.W[rows[i]*m.Cols+c] }
	if m.WordBits == 4 {
		for c := 0; c < m.Cols/2*2; c += 2 {
			for i := range rows {
				words = append(words, weight(i, c)+raise(m)|(weight(i, c+1)+raise(m))<<4)
			}
		}
		if m.Cols%2 == 1 {
			for i := range rows {
				words = append(words, weight(i, m.Cols-1)&15)
			}
		}
		return words
	}
	for c := range m.Cols {
		for i := range rows {
			w := weight(i, c)
			if isRaised(m, threeRows) {
				w += raise(m)
			}
			words = append(words, w)
		}
	}
	return words
}

// twoRowWords are the weights of two rows.
func twoRowWords(m *quant.Matrix, rows []int) []int32 {
	var words []int32
	weight := func(i, c int) int32 { return m.W[rows[i]*m.Cols+c] }
	switch m.WordBits {
	case 4:
		raised := func(i, c int) int32 { return weight(i, c) + raise(m) }
		c := 0
		for ; c+4 <= m.Cols; c += 4 {
			words = append(words,
				raised(0, c)|raised(0, c+2)<<4, raised(1, c)|raised(1, c+2)<<4,
				raised(0, c+1)|raised(0, c+3)<<4, raised(1, c+1)|raised(1, c+3)<<4)
		}
		for _, r := range rows {
			words = append(words, row(m, r, c)...)
		}
	case 8:
		for c := range m.Cols {
			pair := weight(0, c) + 256*weight(1, c) // fits int16: weights are within ±127
			words = append(words, pair&math.MaxUint8, pair>>8&math.MaxUint8)
		}
	default:
		c := 0
		for ; c+2 <= m.Cols; c += 2 {
			for i := range rows {
				words = append(words, weight(i, c), weight(i, c+1))
			}
		}
		for i := range rows {
			words = append(words, m.W[rows[i]*m.Cols+c:(rows[i]+1)*m.Cols]...)
		}
	}
	return words
}

// stride is the number of array elements of one row that is stored alone.
func stride(m *quant.Matrix) int {
	if m.WordBits == 4 {
		return (m.Cols + 1) / 2
	}
	return m.Cols
}
