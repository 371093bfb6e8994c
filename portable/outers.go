package portable

// OutersAtOnce is how many vectors [AddOuters] takes: so a matrix is read and written once for all
// of them. It is also how many values a register holds, of which each vector has a multiple.
const OutersAtOnce = 4

// Padded returns the least multiple of [OutersAtOnce] that is not below n.
func Padded(n int) int { return (n + OutersAtOnce - 1) / OutersAtOnce * OutersAtOnce }

// WaitingVectors are vectors whose products with themselves are not added to a matrix yet.
type WaitingVectors struct {
	all [OutersAtOnce][]float64
	n   int // how many of them wait
}

// NewWaitingVectors returns vectors of a padded size, of which none waits.
func NewWaitingVectors(size int) (w WaitingVectors) {
	for i := range w.all {
		w.all[i] = make([]float64, size)
	}
	return w
}

// Next returns the vector that is added next; what the caller does not write keeps its values.
func (w *WaitingVectors) Next() []float64 { return w.all[w.n] }

// Added notes that the next vector is written, and reports whether there is no place for another.
func (w *WaitingVectors) Added() (isFull bool) {
	w.n++
	return w.n == OutersAtOnce
}

// Take returns the vectors that wait, in their order, and zeros in place of those that are missing.
// No vector waits any longer; the next one that is added overwrites the first.
func (w *WaitingVectors) Take() [OutersAtOnce][]float64 {
	for _, unused := range w.all[w.n:] {
		clear(unused)
	}
	w.n = 0
	return w.all
}

// AddOuters adds x xᵀ to the upper half of a square matrix, for each of x, one after the other. The
// vectors have a multiple of [OutersAtOnce] values; what lies below the diagonal of the matrix has
// no meaning.
func AddOuters(to []float64, x [OutersAtOnce][]float64) { addOuters(to, x) }

// addOutersGo is [AddOuters] without kernels.
func addOutersGo(to []float64, x [OutersAtOnce][]float64) {
	for _, v := range x {
		for i, a := range v {
			row := to[i*len(v)+i : (i+1)*len(v)]
			for j, b := range v[i:] {
				row[j] += float64(a * b)
			}
		}
	}
}
