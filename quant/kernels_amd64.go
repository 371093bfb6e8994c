package quant

import "kerf/portable"

// follow is [followGo], in assembly where the processor has AVX2. v has a multiple of
// [portable.OutersAtOnce] values.
func follow(phi, v []float64, keep, slope float64) {
	if !useLanes {
		followGo(phi, v, keep, slope)
		return
	}
	_ = phi[len(v)-1]
	followAVX2(&phi[0], &v[0], keep, slope, len(v)/portable.OutersAtOnce)
}

// dotRows and dotColumns are what dotsAVX2 computes at once.
const dotRows, dotColumns = 4, 4

// results sets y to [Matrix.row] for the rows from..to and the input v.
func (m *Matrix) results(from, to int, v, y []int32) {
	blocks, columns := (to-from)/dotRows, len(v)
	if !useLanes || blocks == 0 || columns < dotColumns {
		m.resultsGo(from, to, v, y)
		return
	}
	w := m.W[from*columns : to*columns]
	whole, left := blocks*dotRows, columns/dotColumns*dotColumns
	_ = y[whole-1]
	dotsAVX2(&y[0], &w[0], &v[0], columns, blocks)
	for r, sum := range y[:whole] {
		sum += m.Bias[from+r]
		for c, x := range v[left:] {
			sum += w[r*columns+left+c] * x
		}
		y[r] = sat16(roundShift(sum, m.Shift[from+r]))
	}
	m.resultsGo(from+whole, to, v, y[whole:])
}
