package lanes

// Width is the number of lanes: the float32 values in one register of AVX2.
const Width = 8

// blockRows is the number of rows that a kernel computes at once, one sum per register; the last
// block of a matrix may have halfRows.
const blockRows, halfRows = 8, 4

// matrix computes y = W x + b on vectors. Within a block the weights of a column stand side by
// side. Rows are padded with zeros to whole blocks.
type matrix struct {
	columns int
	blocks  int       // of blockRows rows
	half    int       // 1 if a block of halfRows rows follows them, else 0
	w       []float32 // block by block [columns × rows of the block]
	b       []float32 // [padded rows]
}

// newMatrix lays out weights [rows × columns] and biases [rows], given as functions of their
// places.
func newMatrix(rows, columns int, weight func(row, column int) float64,
	bias func(row int) float64) matrix {
	m := matrix{columns: columns, blocks: rows / blockRows}
	switch rest := rows % blockRows; {
	case rest > halfRows:
		m.blocks++
	case rest > 0:
		m.half = 1
	}
	for first := 0; first < m.padded(); first += blockRows {
		block := min(blockRows, m.padded()-first)
		for column := range columns {
			for row := first; row < first+block; row++ {
				w := 0.0
				if row < rows {
					w = weight(row, column)
				}
				m.w = append(m.w, float32(w))
			}
		}
	}
	m.b = make([]float32, m.padded())
	for row := range rows {
		m.b[row] = float32(bias(row))
	}
	return m
}

// padded returns the number of rows that apply writes.
func (m *matrix) padded() int { return m.blocks*blockRows + m.half*halfRows }

// apply sets y [padded × Width] to W x + b for x [columns × Width].
func (m *matrix) apply(y, x []float32) {
	affine(y[:m.padded()*Width], m.w, m.b, x[:m.columns*Width], m)
}
