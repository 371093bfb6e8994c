// Command recovery measures what recovery training wins and prints the tables of docs/recovery.md: for every job file given, the RMSE of
// the network as given and its rise on the sign-off recordings after a cut by rank, after recovery training, and in
// integers before and after. Everything is ranked, calibrated and trained on selection recordings.
package main

import (
	"context"
	"fmt"
	"os"
	"slices"

	"kerf/budget"
	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
)

func main() {
	for _, job := range os.Args[1:] {
		if err := measure(job); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
}

// shapes are the shares of features and units that stay.
var shapes = []struct{ features, units float64 }{{1, 1}, {0.8, 0.75}, {0.6, 0.5}, {0.5, 0.35}}

func measure(job string) error {
	in, err := budget.Load(job)
	if err != nil {
		return err
	}
	if in.Job.Recovery == nil {
		in.Job.Recovery = &budget.RecoveryRule{}
	}
	cut := in.Rank()
	fmt.Printf("\n%s\n\n| features, units | words | output | float | cut | recovered | cut, fixed | recovered, fixed | epoch |\n|---|---|---|---:|---:|---:|---:|---:|---:|\n", in.Job.Name)
	for _, s := range shapes {
		for _, bits := range []int{8, 4} {
			c := in.Whole(quant.Uniform(in.Float.Net, bits, 16, 16))
			c.Features = best(cut.FeatureRank, s.features)
			c.Units[0] = best(cut.UnitRank, s.units)
			if err := row(in, cut.Statistics, c, bits); err != nil {
				return err
			}
		}
	}
	return nil
}

// best are the most needed items of a ranking, in the order of the network; the jobs have one recurrent layer.
func best(rank []prune.Ranked, share float64) []int {
	var items []int
	for _, r := range rank[len(rank)-int(share*float64(len(rank))):] {
		items = append(items, r.Item)
	}
	slices.Sort(items)
	return items
}

func row(in *budget.Inputs, statistics *prune.Statistics, c budget.Candidate, bits int) error {
	r, err := in.RecoverOnce(context.Background(), statistics, c, nil, func(int, int, float64) {})
	if err != nil {
		return err
	}
	small := statistics.Cut(c.Features, c.Units, prune.Refit)
	base := dataset.Measure(in.Float, in.Signoff, nil)
	var scores []*dataset.Score
	fixed := func(p *dataset.Float) dataset.Predictor {
		p = quant.Standardise(p, quant.Calibrate(p, in.Selection))
		var n *quant.Network
		if n, err = quant.Quantize(p, quant.CalibrateRanges(p, in.Selection), c.Formats, quant.Nearest); err != nil {
			return p
		}
		return n
	}
	for _, p := range []dataset.Predictor{small, r.Net, fixed(small), fixed(r.Net)} {
		scores = append(scores, dataset.Measure(p, in.Signoff, nil))
	}
	if err != nil {
		return err
	}
	for o, out := range in.Float.Outputs {
		slice := dataset.Slice{Output: o, Region: -1}
		fmt.Printf("| %d, %d | int%d | %s | %.4f |", len(c.Features), c.UnitCount(), bits, out.Name, base.Value(base, slice, dataset.RMSE))
		for _, s := range scores {
			fmt.Printf(" %+.1f %% |", 100*dataset.Compare(base, s, slice, dataset.RMSE).Rise)
		}
		fmt.Printf(" %d of %d |\n", r.Result.Best, len(r.Result.Epochs))
	}
	return nil
}
