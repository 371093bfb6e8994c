package model

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestLossesAgreeWithDifferences checks the derivatives of both losses against (L(y+e) -
// L(y-e))/2e.
func TestLossesAgreeWithDifferences(t *testing.T) {
	const outputs, steps, e = 3, 4, 1e-5
	random := rand.New(rand.NewPCG(1, 2))
	y, target := make([]float64, outputs*steps), make([]float64, outputs*steps)
	for at := 0; at < len(y); at += outputs {
		for o := range outputs {
			y[at+o], target[at+o] = random.NormFloat64(), random.Float64()
		}
		sum := target[at] + target[at+1] + target[at+2]
		for o := range outputs {
			target[at+o] /= sum
		}
	}
	for name, loss := range map[string]func(y, change []float64) float64{
		"squared error": func(y, change []float64) float64 {
			return SquaredError(y, target, []float64{1, 0.5, 3}, change)
		},
		"cross-entropy": func(y, change []float64) float64 {
			return CrossEntropy(y, target, outputs, change)
		},
	} {
		change, ignored := make([]float64, len(y)), make([]float64, len(y))
		loss(y, change)
		for i, v := range y {
			y[i] = v + e
			above := loss(y, ignored)
			y[i] = v - e
			below := loss(y, ignored)
			y[i] = v
			if want := (above - below) / (2 * e); math.Abs(change[i]-want) > 1e-8 {
				t.Errorf("%s: the derivative by value %d is %v, want %v", name, i, change[i], want)
			}
		}
	}
}

func TestSharesOfLargeScores(t *testing.T) {
	// exp(1000) does not fit, exp(0)/(exp(0)+exp(-ln 3)) = 3/4 does.
	shares := make([]float64, 2)
	logSum := Shares([]float64{1000, 1000 - math.Log(3)}, shares)
	if math.Abs(shares[0]-0.75) > 1e-12 || math.Abs(shares[1]-0.25) > 1e-12 ||
		math.Abs(logSum-1000-math.Log(4.0/3)) > 1e-12 {
		t.Errorf("shares %v, log of the sum %v", shares, logSum)
	}
}
