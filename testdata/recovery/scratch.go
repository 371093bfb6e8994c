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

// The networks that are trained from scratch: numbers of units, each from three seeds.
var (
	scratchUnits = []int{4, 6, 8}
	scratchSeeds = []uint64{1, 2, 3}
)

// fromScratch prints, for networks with all features and few units that were trained from scratch,
// the rise of the RMSE in float against the network as given: on selection recordings, in four
// parts that the training did not see.
func fromScratch(pl *budget.Planner, epochs int, rate float64, formats bool) error {
	in := pl.Inputs()
	base := dataset.Measure(in.Float, in.Selection, nil)
	all := in.Whole(quant.Formats{}).Features
	for _, units := range scratchUnits {
		for _, seed := range scratchSeeds {
			trained := bySequence{}
			var best []string
			for part := range parts {
				rest, judging := deal(in.Selection, part)
				training, heldBack := recovery.Split(rest)
				like := quant.Standardise(in.Float, quant.Calibrate(in.Float, rest))
				counts := make([]int, len(like.Net.Recurrent))
				for i := range counts {
					counts[i] = units
				}
				task := &recovery.Task{Start: recovery.Scratch(like, rest, all, counts, seed),
					Teacher: in.Float, Training: training, HeldBack: heldBack}
				if formats {
					f := quant.Uniform(task.Start.Net, 8, 16, 16)
					task.Formats = &f
				}
				s := recovery.Defaults()
				s.Epochs, s.Rate, s.Seed = epochs, rate, seed
				r, err := recovery.Train(context.Background(), task, s, nil,
					func(*recovery.Result) {})
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
