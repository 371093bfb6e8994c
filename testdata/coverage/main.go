package main

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"

	"kerf/dataset"
)

func main() {
	trials := flag.Int("trials", 1000, "draws of each cell")
	flag.Parse()
	if flag.Arg(0) == "blocks" {
		blockTable(*trials)
		return
	}
	if flag.Arg(0) == "classes" {
		classTable(*trials)
		return
	}
	for _, w := range []world{{"A", 0, 10, 400, .19, false}, {"A", .25, 10, 400, .19, false}, {"A", .5, 10, 400, .19, false}, {"C", .5, 10, 400, .2, true}} {
		for _, n := range []int{2, 3, 4, 5, 6, 8, 12, 40} {
			b2, o2 := w.meanSquares()
			b1, o1 := w.meanMagnitudes()
			type m struct {
				name  string
				get   func(a, b *dataset.Score) (float64, float64)
				truth float64
			}
			sl := dataset.Slice{Region: -1}
			ms := []m{
				{"rmse rise", func(a, b *dataset.Score) (float64, float64) { c := dataset.Compare(a, b, sl, dataset.RMSE); return c.RiseLow, c.RiseHigh }, math.Sqrt(o2/b2) - 1},
				{"mae rise", func(a, b *dataset.Score) (float64, float64) { c := dataset.Compare(a, b, sl, dataset.MAE); return c.RiseLow, c.RiseHigh }, o1/b1 - 1},
				{"rmse", func(a, b *dataset.Score) (float64, float64) { c := dataset.Compare(a, b, sl, dataset.RMSE); return c.OtherLow, c.OtherHigh }, math.Sqrt(o2)},
				{"mae", func(a, b *dataset.Score) (float64, float64) { c := dataset.Compare(a, b, sl, dataset.MAE); return c.OtherLow, c.OtherHigh }, o1},
				{"bias", func(a, b *dataset.Score) (float64, float64) { c := dataset.Compare(a, b, sl, dataset.Bias); return c.OtherLow, c.OtherHigh }, 0},
				{"expl", func(a, b *dataset.Score) (float64, float64) { c := dataset.Compare(a, b, sl, dataset.Explained); return c.OtherLow, c.OtherHigh }, 1 - o2/b2},
			}
			two, up, low := make([]int, len(ms)), make([]int, len(ms)), make([]int, len(ms))
			random := rand.New(rand.NewPCG(1, uint64(n)))
			for range *trials {
				a, b := scores2(w, random, n)
				for i, m := range ms {
					l, h := m.get(a, b)
					if l <= m.truth && m.truth <= h { two[i]++ }
					if m.truth <= h { up[i]++ }
					if m.truth >= l { low[i]++ }
				}
			}
			s := fmt.Sprintf("%s %.2f n %2d:", w.name, w.spread, n)
			for i, m := range ms {
				if w.ownScale && (m.name == "mae rise" || m.name == "mae") { continue }
				f := func(x int) float64 { return 100 * float64(x) / float64(*trials) }
				s += fmt.Sprintf("  %s %.1f/%.1f", m.name, f(two[i]), f(up[i]))
				if m.name == "expl" { s += fmt.Sprintf("(low %.1f)", f(low[i])) }
			}
			fmt.Println(s)
		}
	}
}
func scores2(w world, r *rand.Rand, n int) (a, b *dataset.Score) { x, y := w.errors(r, n); return scores(x, y, 0) }
