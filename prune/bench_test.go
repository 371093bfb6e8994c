package prune

import (
	"math/rand/v2"
	"slices"
	"testing"

	"kerf/dataset"
)

// BenchmarkSample measures the network steps of Shapley sampling, at the size of the
// demo network: 19 features, 24 units, 2 outputs.
func BenchmarkSample(b *testing.B) {
	p := randomPredictor(1, 19, 24, 2)
	rec := randomRecordings(1, p)
	g := featureGame(p, dataset.FeatureNames(p.Features))
	c, background := courseOf(g, rec.Sequences[0]), courseOf(g, rec.Sequences[2])
	random := rand.New(rand.NewPCG(1, 1))
	t := g.newSimulator()
	whole := t.play(c, coalition{c, slices.Repeat([]bool{true}, 19)})[0]
	for b.Loop() {
		t.pair(c, background, background, whole, random.Perm(19))
	}
	const runs = 2 * 19 // of a pair of permutations
	b.ReportMetric(float64(b.N)*runs*float64(c.steps)/b.Elapsed().Seconds(), "steps/s")
}

// BenchmarkCut measures one cut of the same network to half its units.
func BenchmarkCut(b *testing.B) {
	p := randomPredictor(1, 19, 24, 2)
	s := MeasureStatistics(p, randomRecordings(1, p))
	units := [][]int{Without(24)[:12]}
	for _, m := range Methods {
		b.Run(m.String(), func(b *testing.B) {
			for b.Loop() {
				s.Cut(Without(19), units, m)
			}
		})
	}
}
