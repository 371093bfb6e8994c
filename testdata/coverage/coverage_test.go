package main

import (
	"math/rand/v2"
	"testing"

	"kerf/dataset"
)

// Three cells of each table, with fewer draws: the end that judges holds the truth in at least 90 %
// of 200 draws (the tables ask for 95 % of errors and 90 % of long sequences; the standard error of
// a share of 95 % in 200 draws is 1.5 %).
func TestIntervalsHold(t *testing.T) {
	const trials, least = 200, 180
	w := world{spread: 0.5, memory: 10, steps: 400, own: 0.19}
	squares, otherSquares := w.meanSquares()
	for _, n := range []int{2, 5, 12} {
		figures := []figure{{dataset.Explained, false, false, 1 - otherSquares/squares}}
		draw := func(random *rand.Rand) (a, b *dataset.Score) {
			base, other := w.errors(random, n)
			return scores(base, other, 0)
		}
		if c := covered(trials, uint64(n), draw, figures)[0]; c.judged < least {
			t.Errorf("%d sequences: the explained share is held by its lower end in %d of %d draws",
				n, c.judged, trials)
		}
	}
	for _, rate := range []float64{0.01, 0.05, 0.2} {
		c := classes{rate, 0.5, 0.1}
		a, b := c.scores(rand.New(rand.NewPCG(77, 77)), truthSequences/4)
		figures := []figure{{dataset.Accuracy, true, true,
			dataset.CompareRoughly(a, b, everywhere, dataset.Accuracy).Rise}}
		if held := covered(trials, 1, func(random *rand.Rand) (a, b *dataset.Score) {
			return c.scores(random, 6)
		}, figures)[0]; held.judged < least {
			t.Errorf("%g wrong: the drop of the accuracy is held in %d of %d draws", rate,
				held.judged, trials)
		}
	}
	for i, cell := range []longCell{{2, 1000, 10, 0.5}, {3, 1000, 10, 0.25}, {4, 3000, 100, 0.5}} {
		held, _ := cell.covered(trials, uint64(i))
		if held.judged < least-3 { // 90 %, less than one standard error of 2.1 %
			t.Errorf("%+v: held in %d of %d draws", cell, held.judged, trials)
		}
	}
	if _, narrower := (longCell{3, 1000, 10, 0}).covered(trials, 9); narrower == 0 {
		t.Error("three long sequences without effects of their own are never judged by blocks: " +
			"the case shows nothing")
	}
}
