//go:build !amd64

package portable

// affineBlocks computes the first rows of y = W x + b and returns how many: none without kernels.
func affineBlocks(_, _, _, _ []float64) (rows int) { return 0 }

func logisticAll(v []float64) {
	for i, x := range v {
		v[i] = Logistic(x)
	}
}

func tanhAll(v []float64) {
	for i, x := range v {
		v[i] = Tanh(x)
	}
}

func addOuters(to []float64, x [OutersAtOnce][]float64) { addOutersGo(to, x) }
