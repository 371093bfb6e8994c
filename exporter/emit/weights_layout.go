package emit

import (
	"math"

	"kerf/quant/rows"

	"kerf/quant"
)

// inGroups returns how many rows of the block are read in groups.
func (k block) inGroups(w rows.Way) int {
	if !k.matrix.Rescaled() {
		return 0
	}
	bias := int64(0)
	for _, r := range k.rows {
		b := int64(biasWithHalf(k.matrix, r))
		bias = max(bias, b, -b)
	}
	return w.Together(len(k.rows), k.matrix.WordBits, k.matrix.Cols, bias)
}

// raise returns the number that is added to narrow weights of a matrix so that they have no sign.
func raise(m *quant.Matrix) int32 { return rows.Raise(m.WordBits) }

// line holds the weights of one line of the weight array: a group of rows, or a row that is read
// alone.
type line struct {
	rows  []int
	words []int32
}

// lines returns the weights of a block as they lie for a way of reading rows. c/rows.c describes
// their order.
func (k block) lines(w rows.Way) []line {
	var all []line
	groups := k.inGroups(w)
	for from := 0; from < len(k.rows); {
		if from >= groups {
			all = append(all, line{k.rows[from : from+1], row(k.matrix, k.rows[from], 0)})
			from++
			continue
		}
		together := k.rows[from : from+w.Rows]
		words := threeRowWords(k.matrix, together)
		if w.Rows == 2 {
			words = twoRowWords(k.matrix, together)
		}
		all = append(all, line{together, words})
		from += w.Rows
	}
	return all
}

// row returns the weights of a row from a column on, in order. Two int4 weights share a byte, the
// first in its low half.
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

// stored returns a weight as an element of its array: a byte, or int16.
func stored(m *quant.Matrix, v int32) int32 {
	if m.WordBits == 16 {
		return v
	}
	return v & math.MaxUint8
}

// threeRowWords returns the weights of a group of three rows.
func threeRowWords(m *quant.Matrix, three []int) []int32 {
	var words []int32
	weight := func(i, c int) int32 { return m.W[three[i]*m.Cols+c] }
	if m.WordBits == 4 {
		for c := 0; c < m.Cols/2*2; c += 2 {
			for i := range three {
				words = append(words, weight(i, c)+raise(m)|(weight(i, c+1)+raise(m))<<4)
			}
		}
		if m.Cols%2 == 1 {
			for i := range three {
				words = append(words, weight(i, m.Cols-1)&15)
			}
		}
		return words
	}
	for c := range m.Cols {
		for i := range three {
			w := weight(i, c)
			if rows.Three.IsRaised(m.WordBits) {
				w += raise(m)
			}
			words = append(words, w)
		}
	}
	return words
}

// twoRowWords returns the weights of a group of two rows.
func twoRowWords(m *quant.Matrix, two []int) []int32 {
	var words []int32
	weight := func(i, c int) int32 { return m.W[two[i]*m.Cols+c] }
	switch m.WordBits {
	case 4:
		raised := func(i, c int) int32 { return weight(i, c) + raise(m) }
		c := 0
		for ; c+4 <= m.Cols; c += 4 {
			words = append(words,
				raised(0, c)|raised(0, c+2)<<4, raised(1, c)|raised(1, c+2)<<4,
				raised(0, c+1)|raised(0, c+3)<<4, raised(1, c+1)|raised(1, c+3)<<4)
		}
		for _, r := range two {
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
			for i := range two {
				words = append(words, weight(i, c), weight(i, c+1))
			}
		}
		for i := range two {
			words = append(words, m.W[two[i]*m.Cols+c:(two[i]+1)*m.Cols]...)
		}
	}
	return words
}

// stride returns the number of array elements of a row that is read alone.
func stride(m *quant.Matrix) int {
	if m.WordBits == 4 {
		return (m.Cols + 1) / 2
	}
	return m.Cols
}
