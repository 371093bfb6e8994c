package portable

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestKernelsAgree compares the kernels in assembly with the functions in Go, bit for bit: sizes
// around whole blocks, and values of all magnitudes, with those that the kernels leave to Go.
func TestKernelsAgree(t *testing.T) {
	if !useAVX2 {
		t.Skip("not measured: this processor has no AVX2")
	}
	defer func() { useAVX2 = true }()
	random := rand.New(rand.NewPCG(1, 1))
	compare := func(what string, work func() []float64) {
		t.Helper()
		useAVX2 = true
		got := work()
		useAVX2 = false
		for i, want := range work() {
			if math.Float64bits(got[i]) != math.Float64bits(want) &&
				!(math.IsNaN(got[i]) && math.IsNaN(want)) {
				t.Fatalf("%s, value %d: %g in assembly, %g in Go", what, i, got[i], want)
			}
		}
	}
	draw := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = random.NormFloat64() * math.Exp2(float64(random.IntN(40)-20))
		}
		return v
	}
	for rows := range 35 {
		for columns := range 11 {
			w, x, b := draw(rows*columns), draw(columns), draw(rows)
			compare("w x + b", func() []float64 {
				y := make([]float64, rows)
				Affine(y, w, x, b)
				return y
			})
		}
	}
	for size := OutersAtOnce; size <= 10*OutersAtOnce; size += OutersAtOnce {
		var x [OutersAtOnce][]float64
		for i := range x {
			x[i] = draw(size)
		}
		before := draw(size * size)
		compare("products of vectors", func() []float64 {
			to := append([]float64(nil), before...)
			AddOuters(to, x)
			for i := range size { // below the diagonal nothing is meant
				clear(to[i*size : i*size+i])
			}
			return to
		})
	}
	values := []float64{0, math.Copysign(0, -1), 1, -1, 20, 20.5, -20, 0x1p-28, 0x1p-29, -0x1p-29,
		700, 701, -700, -701, 709.9, -709.9, 746, -746, 800, -800, 5e-324, math.MaxFloat64,
		math.Inf(1), math.Inf(-1), math.NaN()}
	for range 200_000 {
		values = append(values, random.NormFloat64()*math.Exp2(float64(random.IntN(44)-34)))
	}
	for name, all := range map[string]func([]float64){"logistic": LogisticAll, "tanh": TanhAll} {
		for first := range atOnce { // every value in every place of a register
			compare(name, func() []float64 {
				v := append([]float64(nil), values[first:]...)
				all(v)
				return v
			})
		}
	}
}
