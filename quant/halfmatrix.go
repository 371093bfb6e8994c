package quant

// halfMatrix is a symmetric matrix of which only the upper half is kept, row by row: moments of
// large networks take most of the memory of a calibration.
type halfMatrix struct {
	n int
	v []float64
}

func newHalfMatrix(n int) halfMatrix { return halfMatrix{n, make([]float64, n*(n+1)/2)} }

// SymmetricDim returns the number of rows.
func (m halfMatrix) SymmetricDim() int { return m.n }

// At returns the value in row i and column j, from 0.
func (m halfMatrix) At(i, j int) float64 { return *m.at(min(i, j), max(i, j)) }

// at returns the place of the value in row i and column j, which is not below i.
func (m halfMatrix) at(i, j int) *float64 { return &m.v[i*(2*m.n-i+1)/2+j-i] }
