// Command coverage counts how often the intervals of dataset.Compare hold the truth, and prints the
// tables of docs/intervals-tables.md. It draws scores of two predictors whose true errors are known
// (worlds.go), and compares. README.md says how to read the tables.
package main

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"kerf/dataset"
)

// intro begins the page, with ' for a backtick.
const intro = `# How often the intervals hold the truth

The tables behind [intervals.md](intervals.md), which says what follows from them. Two predictors
whose true errors are known are drawn %d times for every row (long sequences: half as often) and
compared as kerf compares two networks. A cell has two shares of these draws, in %%: those in which
the 95 %% interval holds the truth, and those in which the end of it that judges a tolerance does.
The first should be near 95, the second near 97.5; where the second is below 95 kerf says yes too
often.

Spread says how unlike sequences are: the standard deviation of the logarithm of the ratio of two
networks. Those of a scenario of the demo have 0.25. Made by 'make bench-coverage'; nothing was
measured anywhere, all numbers are drawn with fixed seeds.

`

func main() {
	trials := flag.Int("trials", 2000, "draws of each cell")
	flag.Parse()
	fmt.Printf(strings.ReplaceAll(intro, "'", "`"), *trials)
	errorTable(*trials)
	classTable(*trials)
	longTable(*trials)
}

// everywhere is the slice of all steps of the only output.
var everywhere = dataset.Slice{Region: -1}

// count holds the number of draws in which the interval held the truth, and in which the end of the
// interval that judges did.
type count struct{ both, judged int }

// add counts one draw; with upper the upper end judges.
func (c *count) add(low, high, truth float64, upper bool) {
	if low <= truth && truth <= high {
		c.both++
	}
	if upper && truth <= high || !upper && truth >= low {
		c.judged++
	}
}

// share prints both counts as percentages.
func (c count) share(trials int) string {
	return fmt.Sprintf("%.1f / %.1f", 100*float64(c.both)/float64(trials),
		100*float64(c.judged)/float64(trials))
}

// figure is one interval of a comparison with its truth.
type figure struct {
	metric dataset.Metric
	rise   bool // of the rise, else of the value of the other predictor
	upper  bool // the upper end is judged, else the lower
	truth  float64
}

// of returns the interval that dataset.Compare gives for two scores.
func (f figure) of(a, b *dataset.Score) (low, high float64) {
	c := dataset.Compare(a, b, everywhere, f.metric)
	if f.rise {
		return c.RiseLow, c.RiseHigh
	}
	return c.OtherLow, c.OtherHigh
}

// covered counts for every figure how often its interval holds the truth, over trials draws. It
// uses all cores.
func covered(trials int, seed uint64, draw func(random *rand.Rand) (a, b *dataset.Score),
	figures []figure) []count {
	all := make([][]count, trials)
	dataset.InParallel(trials, func(trial int) {
		a, b := draw(rand.New(rand.NewPCG(seed, uint64(trial))))
		all[trial] = make([]count, len(figures))
		for i, f := range figures {
			low, high := f.of(a, b)
			all[trial][i].add(low, high, f.truth, f.upper)
		}
	})
	sum := make([]count, len(figures))
	for _, counts := range all {
		for i, c := range counts {
			sum[i].both, sum[i].judged = sum[i].both+c.both, sum[i].judged+c.judged
		}
	}
	return sum
}

// errorTable prints the table of errors.
func errorTable(trials int) {
	fmt.Print("## Errors\n\n")
	fmt.Println("| sequences | spread | rise of RMSE | rise of MAE | RMSE | MAE | bias | " +
		"explained |\n|---:|---:|---:|---:|---:|---:|---:|---:|")
	for _, spread := range []float64{0, 0.25, 0.5} {
		w := world{spread: spread, memory: 10, steps: 400, own: 0.19}
		squares, otherSquares := w.meanSquares()
		magnitude, otherMagnitude := w.meanMagnitudes()
		figures := []figure{
			{dataset.RMSE, true, true, math.Sqrt(otherSquares/squares) - 1},
			{dataset.MAE, true, true, otherMagnitude/magnitude - 1},
			{dataset.RMSE, false, true, math.Sqrt(otherSquares)},
			{dataset.MAE, false, true, otherMagnitude},
			{dataset.Bias, false, true, 0},
			{dataset.Explained, false, false, 1 - otherSquares/squares},
		}
		for _, n := range []int{2, 3, 4, 5, 6, 8, 10, 12, 20, 40} {
			fmt.Printf("| %d | %g |", n, spread)
			for _, c := range covered(trials, uint64(1000*n),
				func(random *rand.Rand) (a, b *dataset.Score) {
					base, other := w.errors(random, n)
					return scores(base, other, 0)
				}, figures) {
				fmt.Printf(" %s |", c.share(trials))
			}
			fmt.Println()
		}
	}
	fmt.Println()
}

// truthSequences is the number of sequences that are drawn for the true shares of a classifier, for
// which there is no formula.
const truthSequences = 4000

// classTable prints the table of classifiers.
func classTable(trials int) {
	fmt.Print("## Shares of steps of a classifier\n\n")
	fmt.Println("| sequences | wrong steps | own errors | spread | drop of accuracy | of " +
		"balanced accuracy | disagreement |\n|---:|---:|---:|---:|---:|---:|---:|")
	metrics := []dataset.Metric{dataset.Accuracy, dataset.BalancedAccuracy, dataset.Agreement}
	for _, c := range []classes{{0.01, 0.5, 0.01}, {0.01, 0.5, 0.1}, {0.05, 0.25, 0.1},
		{0.05, 0.5, 0.01}, {0.2, 0.5, 0.1}} {
		a, b := c.scores(rand.New(rand.NewPCG(77, 77)), truthSequences)
		var figures []figure
		for _, m := range metrics {
			figures = append(figures,
				figure{m, true, true, dataset.CompareRoughly(a, b, everywhere, m).Rise})
		}
		for _, n := range []int{6, 12, 24} {
			fmt.Printf("| %d | %g %% | %g %% | %g |", n, 100*c.rate, 100*c.own, c.spread)
			for _, f := range covered(trials, uint64(3000*n),
				func(random *rand.Rand) (a, b *dataset.Score) {
					return c.scores(random, n)
				}, figures) {
				fmt.Printf(" %s |", f.share(trials))
			}
			fmt.Println()
		}
	}
	fmt.Println()
}

// longCell is a case of few long sequences.
type longCell struct {
	sequences, steps int
	memory, spread   float64
}

// longCells returns cases with memories of 10 to 1,500 steps.
func longCells() []longCell {
	var all []longCell
	for _, n := range []int{2, 3, 4, 5} {
		for _, c := range []struct {
			steps  int
			memory float64
		}{{1000, 10}, {3000, 100}, {3000, 300}, {6000, 600}, {12000, 1500}} {
			for _, spread := range []float64{0, 0.1, 0.25, 0.5} {
				all = append(all, longCell{n, c.steps, c.memory, spread})
			}
		}
	}
	return all
}

// longTable prints the table of few long sequences.
func longTable(trials int) {
	fmt.Print("## Rise of the RMSE on few long sequences\n\nThey are judged by blocks of steps " +
		"as well; the last column says how often blocks made the interval\nnarrower.\n\n")
	fmt.Println("| sequences | steps | memory | spread | holds the truth | narrower by blocks " +
		"|\n|---:|---:|---:|---:|---:|---:|")
	for i, c := range longCells() {
		held, narrower := c.covered(max(1, trials/2), uint64(i))
		fmt.Printf("| %d | %d | %g | %g | %s | %.0f %% |\n", c.sequences, c.steps, c.memory,
			c.spread, held.share(max(1, trials/2)), 100*float64(narrower)/float64(max(1, trials/2)))
	}
}

// covered counts how often the interval of the rise holds the truth, and how often blocks make it
// narrower.
func (c longCell) covered(trials int, seed uint64) (held count, narrower int) {
	w := world{spread: c.spread, memory: c.memory, steps: c.steps, own: 0.19}
	squares, otherSquares := w.meanSquares()
	truth := math.Sqrt(otherSquares/squares) - 1
	type outcome struct {
		low, high float64
		narrower  bool
	}
	all := make([]outcome, trials)
	dataset.InParallel(trials, func(trial int) {
		base, other := w.errors(rand.New(rand.NewPCG(5000+seed, uint64(trial))), c.sequences)
		a, b := scores(base, other, int(c.memory))
		with := dataset.Compare(a, b, everywhere, dataset.RMSE)
		a, b = scores(base, other, 0)
		without := dataset.Compare(a, b, everywhere, dataset.RMSE)
		const rounding = 1e-9
		all[trial] = outcome{with.RiseLow, with.RiseHigh, with.RiseHigh < without.RiseHigh-rounding}
	})
	for _, o := range all {
		held.add(o.low, o.high, truth, true)
		if o.narrower {
			narrower++
		}
	}
	return held, narrower
}
