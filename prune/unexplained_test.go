package prune

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// The unexplained share is 1 - R² of a regression on the other values. With one other value, R² is
// the squared correlation, which gonum computes by itself.
func TestUnexplainedOfTwoIsOneLessTheSquaredCorrelation(t *testing.T) {
	const seed, steps = 5, 400
	random := rand.New(rand.NewPCG(seed, 0))
	g := newGram(2)
	var a, b []float64
	for range steps {
		x := random.NormFloat64()
		y := 0.6*x + 0.8*random.NormFloat64() + 3
		a, b = append(a, x), append(b, y)
		g.add([]float64{x, y})
	}
	r := stat.Correlation(a, b, nil)
	for i, got := range g.unexplained([]int{0, 1}) {
		// The ridge counts as noise of the others: it moves the share by about as much.
		if want := 1 - r*r; math.Abs(got-want) > 2*unexplainedRidge {
			t.Errorf("value %d: %g, want %g", i, got, want)
		}
	}
}

// A repeated value is explained whole, a value that no other follows not at all, and a value that
// stands still has nothing to explain. Without its twin, the first value is not explained any more.
func TestUnexplainedOfTwins(t *testing.T) {
	const seed, steps = 6, 2000
	random := rand.New(rand.NewPCG(seed, 0))
	g := newGram(4)
	for range steps {
		x := random.NormFloat64()
		g.add([]float64{x, 7 - 2*x, random.NormFloat64(), 1.5})
	}
	for i, got := range g.unexplained([]int{0, 1, 2, 3}) {
		// Two independent values correlate by 1/sqrt(steps) by chance; five times that, squared, is
		// 0.0125.
		want := []float64{0, 0, 1, 0}[i]
		if math.Abs(got-want) > 0.0125 {
			t.Errorf("value %d: %g, want %g", i, got, want)
		}
	}
	if got := g.unexplained([]int{0, 2}); got[0] < 0.98 {
		t.Errorf("without its twin: %g, want about 1", got[0])
	}
}
