// Command ways compares ways to a network with fewer units, at the same work, and prints the tables
// of docs/ways-to-small.md:
//
//	go run ./cmd/kerf demo
//	go run ./testdata/smallest/generate -out DIR
//	go run ./testdata/recovery/ways kerf-demo/job.toml testdata/cityweather/job.toml \
//		DIR/{phases,cooling,accumulator,ram,needed}/job.toml
//
// What follows was fixed before the run. Two things had been seen: losses of city-weather and
// phases after 20,000 steps, a fiftieth of the work planned then, in a trial of the program; and
// how many gates and groups were left open, by which the constants of gates.go and lasso.go were
// set.
//
// Jobs: the seven above. Sizes: half and a third of the units of every recurrent layer, rounded;
// all features stay. Seeds: 1 to 5. The selection recordings are dealt into five parts, scenario by
// scenario; seed s judges by part s, and everything else, ranking, compensation and training, sees
// the other four parts alone, of which one sequence in five chooses the best of the checks
// (recovery.Split). Sign-off recordings are not read.
//
// Work: two million steps, forward and back, for every way, invented sequences included
// (recovery.Defaults: the same mix, the same shifts; all ways of a seed and job see the same
// sequences). Twenty checks on the held-back sequences, evenly spread, choose the network. What
// ranks units is no training and does not count. The teacher alone is the target, Adam, clipping
// and schedule are those of package recovery.
//
// Ways:
//
//   - cut: units go by score times root of unexplained variance, as in budget's withUnits; what is
//     gone is predicted (prune.Refit); then training at recovery's rate and length.
//   - cut, fast: the same, trained at the rate and length of a network from scratch. It tells what
//     from scratch owes to its rate.
//   - scratch: recovery.Scratch, its rate and length.
//   - gates: half of the work with a hard-concrete gate on every unit (gates.go), then the units
//     with the most open gates, compensated and trained as the cut is.
//   - lasso: half of the work with a group lasso on the weights of every unit (lasso.go), then the
//     same.
//   - surgeon: units go by the second-order saliency of their blocks (surgeon.go), then as the cut.
//   - low rank: all units stay, and their matrices become products of two with no more
//     multiply-accumulates than the cut (lowrank.go), trained at recovery's rate and length.
//   - Train: the cut, trained by recovery.Train over as many epochs as the work gives, to show that
//     the loop here (train.go) is no other.
//
// The figure of a network is the largest rise of the RMSE of an output against the network as given
// on the part that judges, in percent; for a classifier the drop of the accuracy in percentage
// points. Intervals are of Student's t with four degrees of freedom over the seeds; the second
// table has those of the differences from the cut, seed by seed.
package main

import (
	"context"
	"flag"
	"fmt"
	"math"
	"os"
	"runtime"
	"strings"
	"sync"
	"time"

	"kerf/budget"
	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
)

const (
	seeds  = 5
	work   = 2_000_000 // steps
	checks = 20
	// quantile is that of Student's t for 95 % with seeds - 1 degrees of freedom (Abramowitz and
	// Stegun 1964, table 26.10).
	quantile = 2.776
)

// shares of the units that are kept.
var shares = []struct {
	name string
	of   float64
}{{"half", 1.0 / 2}, {"third", 1.0 / 3}}

// names of the ways, in the order of the tables; "untrained" is the cut before training.
var names = []string{"untrained", "cut", "cut, fast", "scratch", "gates", "lasso", "surgeon",
	"low rank", "Train"}

// cut is the place in names of what the others are compared with.
const cut = 1

// figures are rises by way of one size, seed by seed; NaN where a way makes no network.
type figures [][seeds]float64

// comparison is what one job gives.
type comparison struct {
	in      *budget.Inputs
	figures []figures // by size
	macs    [][2]int  // by size: of the cut, of low rank
}

func main() {
	trial := flag.Int("work", work, "steps; other than the default only to try the program out")
	flag.Parse()
	started := time.Now()
	var all []*comparison
	for _, file := range flag.Args() {
		in, err := budget.Load(file)
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		c := &comparison{in: in.WithRecovery(nil), figures: make([]figures, len(shares)),
			macs: make([][2]int, len(shares))}
		for size := range c.figures {
			c.figures[size] = make(figures, len(names))
		}
		all = append(all, c)
	}
	var lock sync.Mutex
	dataset.InParallel(seeds*len(all), func(i int) {
		c, seed := all[i/seeds], i%seeds
		err := c.measure(seed, *trial)
		lock.Lock()
		defer lock.Unlock()
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		fmt.Fprintf(os.Stderr, "%s, seed %d: %.0f s\n", c.in.Job.Name, seed+1,
			time.Since(started).Seconds())
	})
	fmt.Printf("%d steps, %s/%s\n", *trial, runtime.GOOS, runtime.GOARCH)
	printTable(all, "rise or drop", false)
	printTable(all, "less that of the cut", true)
	for _, c := range all {
		fmt.Printf("%s: multiply-accumulates %d;", c.in.Job.Name, macs(c.in.Float.Net))
		for size, share := range shares {
			fmt.Printf(" %s: cut %d, low rank %d;", share.name, c.macs[size][0],
				c.macs[size][1])
		}
		fmt.Println()
	}
}

// measure goes all ways with one seed.
func (c *comparison) measure(seed, work int) error {
	d, err := newData(c.in, seed, work)
	if err != nil {
		return err
	}
	ctx, given := context.Background(), d.given.Net
	note := func(size int, way string, p *dataset.Float) {
		for w, name := range names {
			if name == way {
				c.figures[size][w][seed] = d.rise(p)
			}
		}
	}
	ranked, err := newRanking(ctx, d)
	if err != nil {
		return err
	}
	saliency := newSurgeon(d, uint64(seed+1))
	for size, share := range shares {
		counts := make([]int, len(given.Recurrent))
		for l, r := range given.Recurrent {
			counts[l] = max(1, int(math.Round(share.of*float64(r.Units))))
		}
		small := ranked.cut(ranked.choose(counts))
		settings := schedule{work: work, rate: recoveryRate, length: recoveryLength,
			keepBest: true, seed: uint64(seed + 1)}
		fast := settings
		fast.rate, fast.length = scratchRate, scratchLength
		half := settings
		half.work, half.keepBest = work/2, false
		rest := settings
		rest.work = work - half.work

		note(size, "untrained", small)
		note(size, "cut", d.train(plain(small), settings))
		note(size, "cut, fast", d.train(plain(small), fast))
		note(size, "scratch", d.train(plain(d.scratch(counts, seed)), fast))
		gates := newGates(d.given, counts, settings.seed)
		d.train(gates, half)
		note(size, "gates", d.train(plain(gates.cut(d)), rest))
		lasso := newLasso(d.given, counts)
		d.train(lasso, half)
		note(size, "lasso", d.train(plain(lasso.cut(d)), rest))
		note(size, "surgeon", d.train(plain(ranked.cut(saliency.choose(counts))), settings))
		c.macs[size][0] = macs(small.Net)
		if low := newLowRank(d, macs(small.Net)); low != nil {
			note(size, "low rank", d.train(low, settings))
			c.macs[size][1] = low.macs()
		} else {
			note(size, "low rank", nil)
		}
		trained, err := d.byPackage(ctx, small, settings)
		if err != nil {
			return err
		}
		note(size, "Train", trained)
	}
	return nil
}

// macs returns the multiply-accumulates of a step.
func macs(n *model.Network) int {
	all := 0
	for _, r := range n.Recurrent {
		all += len(r.W) + len(r.U)
	}
	for _, d := range n.Dense {
		all += len(d.W)
	}
	return all
}

// printTable prints the mean of every way with its interval, of the figures themselves or of their
// differences from the cut.
func printTable(all []*comparison, what string, differences bool) {
	fmt.Printf("\n| job, %s | size |", what)
	for w, name := range names {
		if !differences || w != cut {
			fmt.Printf(" %s |", name)
		}
	}
	fmt.Printf("\n|---|---|%s\n", strings.Repeat("---:|", len(names)))
	for _, c := range all {
		for size, share := range shares {
			fmt.Printf("| %s | %s |", c.in.Job.Name, share.name)
			for w := range names {
				values := c.figures[size][w]
				if differences {
					if w == cut {
						continue
					}
					for s := range values {
						values[s] -= c.figures[size][cut][s]
					}
				}
				mean, half := interval(values)
				if math.IsNaN(mean) {
					fmt.Print(" |")
				} else {
					fmt.Printf(" %+.2f (%+.2f..%+.2f) |", mean, mean-half, mean+half)
				}
			}
			fmt.Println()
		}
	}
}

// interval returns the mean of values, and half of the width of its interval.
func interval(values [seeds]float64) (mean, half float64) {
	for _, v := range values {
		mean += v / seeds
	}
	variance := 0.0
	for _, v := range values {
		variance += (v - mean) * (v - mean) / (seeds - 1)
	}
	return mean, quantile * math.Sqrt(variance/seeds)
}

// standardised returns the network as given with inputs of one scale.
func standardised(in *budget.Inputs, rec *dataset.Recordings) *dataset.Float {
	return quant.Standardise(in.Float, quant.Calibrate(in.Float, rec))
}
