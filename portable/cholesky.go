package portable

import "math"

// Symmetric is a symmetric matrix. Matrices of gonum satisfy it.
type Symmetric interface {
	SymmetricDim() int   // number of rows
	At(i, j int) float64 // value in row i and column j, from 0
}

// Factor is the lower triangle L of a Cholesky factorisation A = L Lᵀ.
type Factor struct {
	n int
	l []float64 // [n × n] by rows; zero above the diagonal
}

// Cholesky factorises a; ok is false if a is not positive definite. Source: Golub and Van Loan
// 2013, "Matrix computations", section 4.2, by rows.
func Cholesky(a Symmetric) (f *Factor, ok bool) {
	n := a.SymmetricDim()
	f = &Factor{n, make([]float64, n*n)}
	for i := range n {
		row := f.row(i)
		for j := range i {
			row[j] = (a.At(j, i) - Dot(row[:j], f.row(j)[:j])) / f.l[j*n+j]
		}
		pivot := a.At(i, i) - Dot(row[:i], row[:i])
		if !(pivot > 0) {
			return nil, false
		}
		row[i] = math.Sqrt(pivot)
	}
	return f, true
}

// row returns row i of L, from 0.
func (f *Factor) row(i int) []float64 { return f.l[i*f.n : (i+1)*f.n] }

// Solve replaces b, which has n values, by the solution x of A x = b.
func (f *Factor) Solve(b []float64) {
	for i := range b {
		row := f.row(i)
		b[i] = (b[i] - Dot(row[:i], b[:i])) / row[i]
	}
	for i := len(b) - 1; i >= 0; i-- {
		row := f.row(i)
		b[i] /= row[i]
		for j, l := range row[:i] {
			b[j] -= float64(l * b[i])
		}
	}
}

// Inverse returns the inverse of A.
func (f *Factor) Inverse() *Square {
	s := &Square{f.n, make([]float64, f.n*f.n)}
	column := make([]float64, f.n)
	for j := range f.n {
		clear(column)
		column[j] = 1
		f.Solve(column)
		for i := range j + 1 { // the upper half; the lower one is its mirror
			s.v[i*f.n+j], s.v[j*f.n+i] = column[i], column[i]
		}
	}
	return s
}

// Upper returns Lᵀ, the matrix U with A = Uᵀ U.
func (f *Factor) Upper() *Square {
	s := &Square{f.n, make([]float64, f.n*f.n)}
	for i := range f.n {
		for j := range i + 1 {
			s.v[j*f.n+i] = f.l[i*f.n+j]
		}
	}
	return s
}

// Square is a square matrix.
type Square struct {
	n int
	v []float64 // [n × n] by rows
}

// SymmetricDim returns the number of rows.
func (s *Square) SymmetricDim() int { return s.n }

// At returns the value in row i and column j, from 0.
func (s *Square) At(i, j int) float64 { return s.v[i*s.n+j] }

// Row returns row i, from 0, without a copy.
func (s *Square) Row(i int) []float64 { return s.v[i*s.n : (i+1)*s.n] }

// Dot returns the sum of a[i]·b[i], computed as four interleaved sums that are added at the end. b
// is at least as long as a.
func Dot(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+4 <= len(a); i += 4 {
		s0 += float64(a[i] * b[i])
		s1 += float64(a[i+1] * b[i+1])
		s2 += float64(a[i+2] * b[i+2])
		s3 += float64(a[i+3] * b[i+3])
	}
	for ; i < len(a); i++ {
		s0 += float64(a[i] * b[i])
	}
	return (s0 + s1) + (s2 + s3)
}
