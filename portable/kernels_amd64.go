package portable

import "golang.org/x/sys/cpu"

// useAVX2 chooses the kernels in assembly; tests turn it off.
var useAVX2 = cpu.X86.HasAVX2

const (
	blockRows = 8 // that affineAVX2 computes at once
	atOnce    = 4 // values in a register
)

// affineBlocks computes the first rows of y = W x + b and returns how many.
func affineBlocks(y, w, x, b []float64) (rows int) {
	blocks := len(y) / blockRows
	if !useAVX2 || blocks == 0 || len(x) == 0 {
		return 0
	}
	rows = blocks * blockRows
	_, _ = w[rows*len(x)-1], b[rows-1]
	affineAVX2(&y[0], &w[0], &x[0], &b[0], len(x), blocks)
	return rows
}

// allOf replaces values by those of a kernel. Where the kernel cannot compute one of a register,
// and behind the last whole register, the function computes the values.
func allOf(v []float64, kernel func(v, powers, powersLow *float64, n int) (left int),
	function func(x float64) float64) {
	for useAVX2 && len(v) >= atOnce {
		n := len(v) / atOnce
		left := kernel(&v[0], &powers[0], &powersLow[0], n)
		v = v[(n-left)*atOnce:]
		if left == 0 {
			break
		}
		for i, x := range v[:atOnce] {
			v[i] = function(x)
		}
		v = v[atOnce:]
	}
	for i, x := range v {
		v[i] = function(x)
	}
}

func logisticAll(v []float64) { allOf(v, logisticAVX2, Logistic) }

func tanhAll(v []float64) { allOf(v, tanhAVX2, Tanh) }

func addOuters(to []float64, x [OutersAtOnce][]float64) {
	if !useAVX2 {
		addOutersGo(to, x)
		return
	}
	n := len(x[0])
	_, _, _, _ = to[n*n-1], x[1][n-1], x[2][n-1], x[3][n-1]
	addOutersAVX2(&to[0], &x[0][0], &x[1][0], &x[2][0], &x[3][0], n/OutersAtOnce)
}
