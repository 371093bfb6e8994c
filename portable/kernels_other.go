//go:build !amd64

package portable

// affineBlocks computes the first rows of y = W x + b and returns how many: none without kernels.
func affineBlocks(_, _, _, _ []float64) (rows int) { return 0 }

// LogisticAll replaces every value by its [Logistic].
func LogisticAll(v []float64) {
	for i, x := range v {
		v[i] = Logistic(x)
	}
}

// TanhAll replaces every value by its [Tanh].
func TanhAll(v []float64) {
	for i, x := range v {
		v[i] = Tanh(x)
	}
}

// AddOuters adds x xᵀ to the upper half of a square matrix, for each of x, one after the other. The
// vectors have a multiple of [OutersAtOnce] values; what lies below the diagonal of the matrix has
// no meaning.
func AddOuters(to []float64, x [OutersAtOnce][]float64) { addOutersGo(to, x) }
