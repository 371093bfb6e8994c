package lanes

// Width is the number of lanes: the float32 values in one register of AVX2.
const Width = 8

// blockRows is the number of rows that a kernel computes at once, one sum per register; the last
// block of a matrix may have halfRows.
const blockRows, halfRows = 8, 4

// matrix computes y = W x + b on vectors. Within a block the weights of a column stand side by
// side. Rows are padded with zeros to whole blocks.
type matrix struct {
	rows, columns int
	blocks        int       // of blockRows rows
	half          int       // 1 if a block of halfRows rows follows them, else 0
	w             []float32 // block by block [columns × rows of the block]
	b             []float32 // [padded rows]
}

// newMatrix returns a matrix of zeros.
func newMatrix(rows, columns int) matrix {
	m := matrix{rows: rows, columns: columns, blocks: rows / blockRows}
	switch rest := rows % blockRows; {
	case rest > halfRows:
		m.blocks++
	case rest > 0:
		m.half = 1
	}
	m.w, m.b = make([]float32, m.padded()*columns), make([]float32, m.padded())
	return m
}

// set lays out weights [rows × columns], given as a function of their places.
func (m *matrix) set(weight func(row, column int) float64) {
	w := m.w
	for first := 0; first < m.rows; first += blockRows {
		block := min(blockRows, m.padded()-first)
		for row := range min(block, m.rows-first) {
			for column := range m.columns {
				w[column*block+row] = float32(weight(first+row, column))
			}
		}
		w = w[m.columns*block:]
	}
}

// setBias sets the biases [rows], given as a function of their places.
func (m *matrix) setBias(bias func(row int) float64) {
	for row := range m.rows {
		m.b[row] = float32(bias(row))
	}
}

// padded returns the number of rows that apply writes.
func (m *matrix) padded() int { return m.blocks*blockRows + m.half*halfRows }

// apply sets y [padded × Width] to W x + b for x [columns × Width].
func (m *matrix) apply(y, x []float32) {
	affine(y[:m.padded()*Width], m.w, m.b, x[:m.columns*Width], m)
}
