package quant

// outersAtOnce is how many vectors addOuters takes: so a matrix is read and written once for all of
// them. It is also how many values a register holds, of which each vector has a multiple.
const outersAtOnce = 4

// padded returns the least multiple of outersAtOnce that is not below n.
func padded(n int) int { return (n + outersAtOnce - 1) / outersAtOnce * outersAtOnce }

// waitingVectors are vectors whose products with themselves are not added to a matrix yet.
type waitingVectors struct {
	all [outersAtOnce][]float64
	n   int // how many of them wait
}

// newWaitingVectors returns vectors of a padded size, of which none waits.
func newWaitingVectors(size int) (w waitingVectors) {
	for i := range w.all {
		w.all[i] = make([]float64, size)
	}
	return w
}

// add adds a vector, and reports whether there is no place for another one.
func (w *waitingVectors) add(v []float64) (isFull bool) {
	copy(w.all[w.n], v)
	w.n++
	return w.n == outersAtOnce
}

// take returns the vectors that wait, in their order, and zeros in place of those that are missing.
// No vector waits any longer; the next one that is added overwrites the first.
func (w *waitingVectors) take() [outersAtOnce][]float64 {
	for _, unused := range w.all[w.n:] {
		clear(unused)
	}
	w.n = 0
	return w.all
}

// addOutersGo adds x xᵀ to the upper half of a square matrix, for each of x, one after the other.
func addOutersGo(to []float64, x [outersAtOnce][]float64) {
	for _, v := range x {
		for i, a := range v {
			row := to[i*len(v)+i : (i+1)*len(v)]
			for j, b := range v[i:] {
				row[j] += float64(a * b)
			}
		}
	}
}

// followGo sets phi to keep·phi + slope·v.
func followGo(phi, v []float64, keep, slope float64) {
	for i, x := range v {
		phi[i] = float64(keep*phi[i]) + float64(slope*x)
	}
}
