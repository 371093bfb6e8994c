package main

import (
	"fmt"
	"math"
	"math/rand/v2"

	"kerf/dataset"
)

func blockTable(trials int) {
	type cell struct {
		n, steps       int
		memory, spread float64
	}
	var cells []cell
	for _, n := range []int{2, 3, 4, 5} {
		for _, tm := range [][2]float64{{60, 2}, {200, 3}, {1000, 10}, {3000, 100}, {3000, 300}, {12000, 1500}} {
			for _, spread := range []float64{0, 0.1, 0.25, 0.5} {
				cells = append(cells, cell{n, int(tm[0]), tm[1], spread})
			}
		}
	}
	out := make([]string, len(cells))
	dataset.InParallel(len(cells), func(i int) {
		c := cells[i]
		w := world{"", c.spread, c.memory, c.steps, .19, false}
		b2, o2 := w.meanSquares()
		truth := math.Sqrt(o2/b2) - 1
		random := rand.New(rand.NewPCG(5, uint64(i)))
		var up, two, alone, aloneUp, withBlocks, K int
		for range trials {
			x, y := w.errors(random, c.n)
			a, b := scores(x, y, int(c.memory))
			r := dataset.Compare(a, b, dataset.Slice{Region: -1}, dataset.RMSE)
			a0, b0 := scores(x, y, 0)
			plain := dataset.Compare(a0, b0, dataset.Slice{Region: -1}, dataset.RMSE)
			if truth <= r.RiseHigh {
				up++
				if truth >= r.RiseLow {
					two++
				}
			}
			if r.Blocks > 0 {
				withBlocks++
				K += r.Blocks
			}
			if r.RiseHigh < plain.RiseHigh-1e-9 {
				alone++
				if truth <= r.RiseHigh {
					aloneUp++
				}
			}
		}
		f := func(n, of int) float64 { return 100 * float64(n) / float64(max(1, of)) }
		out[i] = fmt.Sprintf("n %d T %5d mem %4.0f spread %.2f: two %.1f up %.1f; blocks in %.0f (mean %d), narrower in %.0f, of these up %.0f", c.n, c.steps, c.memory, c.spread, f(two, trials), f(up, trials), f(withBlocks, trials), K/max(1, withBlocks), f(alone, trials), f(aloneUp, alone))
	})
	for _, s := range out {
		fmt.Println(s)
	}
}
