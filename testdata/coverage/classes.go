package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"kerf/dataset"
)

// classifier world: two classes; each predictor is wrong where its latent error exceeds a bound.
func classErrors(r *rand.Rand, n, steps int, rate, spread, own float64) (rec *dataset.Recordings, wa, wb [][]bool) {
	rec = &dataset.Recordings{Features: 1, Outputs: 3, Classes: true}
	follow := math.Exp(-1.0 / 10)
	fresh := math.Sqrt(1 - follow*follow)
	z0 := quantile(1 - rate)
	for i := range n {
		shift, other := spread*r.NormFloat64(), spread/2*r.NormFloat64()
		u, v := r.NormFloat64(), r.NormFloat64()
		s := &dataset.Sequence{Name: strconv.Itoa(i), Scenario: "s", Steps: steps, X: make([]float64, steps)}
		a, b := make([]bool, steps), make([]bool, steps)
		cl := r.IntN(3)
		for k := range steps {
			u, v = follow*u+fresh*r.NormFloat64(), follow*v+fresh*r.NormFloat64()
			a[k] = u > z0-shift
			b[k] = math.Sqrt(1-own)*u+math.Sqrt(own)*v > z0-shift-other
			if r.IntN(40) == 0 { cl = r.IntN(3) }
			y := make([]float64, 3)
			y[cl] = 1
			s.Y = append(s.Y, y...)
		}
		rec.Sequences = append(rec.Sequences, s)
		wa, wb = append(wa, a), append(wb, b)
	}
	return
}

func quantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

type classPredictor struct{ wrong map[string][]bool }

func (c classPredictor) Predict(s *dataset.Sequence, dst []float64) {
	w := c.wrong[s.Name]
	for k := range s.Steps {
		cl := dataset.Class(s.Y[3*k : 3*k+3])
		if w[k] { cl = (cl + 1) % 3 }
		dst[3*k], dst[3*k+1], dst[3*k+2] = 0, 0, 0
		dst[3*k+cl] = 1
	}
}

func classScores(r *rand.Rand, n, steps int, rate, spread, own float64) (a, b *dataset.Score) {
	rec, wa, wb := classErrors(r, n, steps, rate, spread, own)
	ma, mb := map[string][]bool{}, map[string][]bool{}
	for i := range wa { ma[strconv.Itoa(i)], mb[strconv.Itoa(i)] = wa[i], wb[i] }
	return dataset.Measure(classPredictor{ma}, rec, nil), dataset.Measure(classPredictor{mb}, rec, nil)
}

func classTable(trials int) {
	sl := dataset.Slice{Region: -1}
	for _, rate := range []float64{0.01, 0.05} {
		for _, spread := range []float64{0.5} {
			for _, own := range []float64{0.01, 0.1} {
				r := rand.New(rand.NewPCG(9, 9))
				a, b := classScores(r, 3000, 400, rate, spread, own)
				ms := []dataset.Metric{dataset.Accuracy, dataset.BalancedAccuracy, dataset.Agreement}
				var truth [3]float64
				for i, m := range ms { c := dataset.CompareRoughly(a, b, sl, m); truth[i] = c.Rise }
				for _, n := range []int{6, 8, 12, 24} {
					var up, zero [3]int
					for range trials {
						a, b := classScores(r, n, 400, rate, spread, own)
						for i, m := range ms {
							c := dataset.Compare(a, b, sl, m)
							if truth[i] <= c.RiseHigh { up[i]++ }
							if c.RiseHigh == c.Rise { zero[i]++ }
						}
					}
					s := fmt.Sprintf("rate %.2f spread %.2f own %.2f n %2d", rate, spread, own, n)
					for i, m := range ms { s += fmt.Sprintf("  %s truth %.4f up %.1f zero %d", m, truth[i], 100*float64(up[i])/float64(trials), zero[i]) }
					fmt.Println(s)
				}
			}
		}
	}
}
