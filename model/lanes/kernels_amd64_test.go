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
			m := newMatrix(rows, columns)
			m.set(func(r, c int) float64 { return float64(w[r*columns+c]) })
			m.setBias(func(r int) float64 { return float64(b[r]) })
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
		both("add", copyOf(), func(y []float32) { add(y, a) })
		both("tanhSlope", copyOf(), func(y []float32) { tanhSlope(y, a) })
		both("tanhSlope", copyOf(), func(y []float32) { tanhSlope(y, v) })
		both("logisticSlope", copyOf(), func(y []float32) { logisticSlope(y, a) })
		both("reluSlope", copyOf(), func(y []float32) { reluSlope(y, a) })
		both("reluSlope", append([]float32(nil), a...), func(y []float32) { reluSlope(y, v) })
		for fraction := -10; fraction <= 15; fraction++ {
			g := Int16(fraction)
			both("round", copyOf(), g.round)
		}
		both("largest", append([]float32(nil), a[:Width]...), func(y []float32) { largest(y, v) })
		for part := range 3 {
			both("blendSlope", copyOf(), func(y []float32) {
				c, u, s := append([]float32(nil), y...), append([]float32(nil), y...),
					append([]float32(nil), y...)
				blendSlope(c, u, s, a, b, v)
				copy(y, [][]float32{c, u, s}[part])
			})
		}
	}
	for rows := 1; rows <= 7; rows++ {
		for columns := 1; columns <= 7; columns++ {
			const steps = 5
			left := vectors{values(steps * rows * Width), rows * Width}
			right := vectors{values(steps * columns * Width), columns * Width}
			both("outer", make([]float32, rows*columns), func(y []float32) {
				outer(y, left, right, rows, columns, steps)
			})
			both("outer", make([]float32, rows), func(y []float32) {
				outer(y, left, vectors{right.first[:Width], 0}, rows, 1, steps)
			})
		}
	}
}
