package portable

import (
	"math/rand/v2"
	"testing"
)

func TestAffineKeepsTheOrderOfSums(t *testing.T) {
	const seed = 7
	random := rand.New(rand.NewPCG(seed, seed))
	for rows := range 10 { // around the block of four
		for columns := range 6 {
			w, x, b := make([]float64, rows*columns), make([]float64, columns),
				make([]float64, rows)
			for _, s := range [][]float64{w, x, b} {
				for i := range s {
					s[i] = random.NormFloat64()
				}
			}
			y := make([]float64, rows)
			Affine(y, w, x, b)
			for i := range y {
				want := b[i]
				for j := range x {
					want += float64(w[i*columns+j] * x[j])
				}
				if y[i] != want {
					t.Errorf("seed %d, %d × %d, row %d: got %v, want exactly %v", seed, rows,
						columns, i, y[i], want)
				}
			}
		}
	}
}
