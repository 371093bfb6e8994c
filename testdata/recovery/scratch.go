package main

import (
	"context"
	"fmt"
	"strings"

	"kerf/budget"
	"kerf/dataset"
	"kerf/quant"
	"kerf/recovery"
)

// The networks that are trained from scratch: numbers of units, each from some seeds.
var (
	scratchUnits = []int{4, 6, 8}
	scratchSeeds = []uint64{1, 2, 3}
)

// fromScratch prints the table of one job: the rise of the RMSE, in float, of networks with all
// features and few units against the network as given, on selection recordings, in four parts that
// the training did not see.
func fromScratch(job string, epochs int) error {
	in, err := budget.Load(job)
	if err != nil {
		return err
	}
	fmt.Printf("\n%s\n\n| units | seed | output | rise | epoch |\n|---:|---:|---|---:|---|\n",
		in.Job.Name)
	base := dataset.Measure(in.Float, in.Selection, nil)
	for _, units := range scratchUnits {
		for _, seed := range scratchSeeds {
			trained := bySequence{}
			var best []string
			for part := range parts {
				rest, judging := deal(in.Selection, part)
				r, err := newNetwork(in, rest, units, epochs, seed)
				if err != nil {
					return err
				}
				for _, s := range judging {
					trained[s] = r.Net
				}
				best = append(best, fmt.Sprint(r.Best))
			}
			score := dataset.Measure(trained, in.Selection, nil)
			for o, out := range in.Float.Outputs {
				r := dataset.Compare(base, score, dataset.Slice{Output: o, Region: -1},
					dataset.RMSE)
				fmt.Printf("| %d | %d | %s | %+.1f (%+.1f..%+.1f) %% | %s of %d |\n", units, seed,
					out.Name, 100*r.Rise, 100*r.RiseLow, 100*r.RiseHigh,
					strings.Join(best, ", "), epochs)
			}
		}
	}
	return nil
}

// newNetwork trains a network with all features and a number of units in every recurrent layer from
// scratch on some recordings.
func newNetwork(in *budget.Inputs, rec *dataset.Recordings, units, epochs int,
	seed uint64) (*recovery.Result, error) {
	like := quant.Standardise(in.Float, quant.Calibrate(in.Float, rec))
	counts := make([]int, len(like.Net.Recurrent))
	for i := range counts {
		counts[i] = units
	}
	training, heldBack := recovery.Split(rec)
	s := recovery.Defaults()
	s.Epochs, s.Seed = epochs, seed
	return recovery.Train(context.Background(), &recovery.Task{
		Start:   recovery.Scratch(like, rec, in.Whole(quant.Formats{}).Features, counts, seed),
		Teacher: in.Float, Training: training, HeldBack: heldBack,
	}, s, nil, func(*recovery.Result) {})
}
