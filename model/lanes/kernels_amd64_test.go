package lanes

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestKernelsAgree compares the kernels in assembly with those in Go, bit for bit.
func TestKernelsAgree(t *testing.T) {
	if !useAVX2 {
		t.Fatal("this processor has no AVX2, so the kernels in assembly cannot be run here")
	}
	defer func() { useAVX2 = true }()
	random := rand.New(rand.NewPCG(1, 2))
	values := func(n int) []float32 {
		all := make([]float32, n)
		for i := range all {
			all[i] = float32(random.NormFloat64() * math.Exp2(float64(random.IntN(12)-6)))
		}
		return all
	}
	both := func(name string, y []float32, kernel func(y []float32)) {
		t.Helper()
		inGo := append([]float32(nil), y...)
		useAVX2 = true
		kernel(y)
		useAVX2 = false
		kernel(inGo)
		for i := range y {
			if math.Float32bits(y[i]) != math.Float32bits(inGo[i]) &&
				(y[i] == y[i] || inGo[i] == inGo[i]) {
				t.Fatalf("%s: value %d is %g in assembly and %g in Go", name, i, y[i], inGo[i])
			}
		}
	}
	for rows := 1; rows <= 27; rows++ {
		for _, columns := range []int{1, 2, 7, 36} {
			w, b, x := values(rows*columns), values(rows), values(columns*Width)
			m := newMatrix(rows, columns, func(r, c int) float64 {
				return float64(w[r*columns+c])
			}, func(r int) float64 { return float64(b[r]) })
			both("affine", make([]float32, m.padded()*Width), func(y []float32) { m.apply(y, x) })
		}
	}
	special := []float32{0, float32(math.Copysign(0, -1)), 87, -87, 88, -88, 1e30, -1e30,
		math.MaxFloat32, 1e-40, -1e-40,
		float32(math.Inf(1)), float32(math.Inf(-1)), float32(math.NaN()), 1, -1}
	for _, v := range [][]float32{special, values(4096)} {
		a, b := values(len(v)), values(len(v))
		copyOf := func() []float32 { return append([]float32(nil), v...) }
		both("logistic", copyOf(), logisticAll)
		both("tanh", copyOf(), tanhAll)
		both("rectify", copyOf(), rectify)
		both("addProduct", copyOf(), func(y []float32) { addProduct(y, a, b) })
		both("product", copyOf(), func(y []float32) { product(y, a, b) })
		both("blend", copyOf(), func(y []float32) { blend(y, a, b) })
	}
}
