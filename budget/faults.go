package budget

import (
	"context"
	"math"

	"kerf/dataset"
	"kerf/quant"
)

// Faults says what the errors of a network become when one of its features is at fault from half of
// every sequence on. Steps before count nowhere.
type Faults struct {
	Rows      []FaultRow // feature by feature, fault by fault, output by output
	Sequences int        // that were run
	Recorded  int        // of the recordings
	Steps     int        // that count
}

// FaultRow is the error of one output with one feature at fault.
type FaultRow struct {
	Feature string
	Unit    string // of Value
	Fault   quant.Fault
	Value   float64 // what the feature shows; NaN where that differs from sequence to sequence
	Output  string
	Metric  dataset.Metric
	OutUnit string  // of the two errors; empty for a share of steps
	Without float64 // the metric over the same steps without a fault
	With    float64
}

// Factor is the error with the fault over that without one; NaN for a share of steps, and where
// there is no error without one.
func (r *FaultRow) Factor() float64 {
	if r.Metric.IsShare() || r.Without == 0 {
		return math.NaN()
	}
	return r.With / r.Without
}

// Drop is what a share of steps loses by the fault; NaN for an error.
func (r *FaultRow) Drop() float64 {
	if !r.Metric.IsShare() {
		return math.NaN()
	}
	return r.Without - r.With
}

// faultMetric is the metric of the first row of an output over all recordings, which is the one
// that has a tolerance if there is any. In place of a bias, which has a sign, and of metrics that
// compare two networks stands the one that every output has.
func (pl *Planner) faultMetric(output dataset.Output, loss []Loss) dataset.Metric {
	usual := dataset.Metrics(pl.in.Float.Classes)[0]
	for _, l := range loss {
		if l.Output != output.Name || !l.IsEverywhere() {
			continue
		}
		switch l.Metric {
		case dataset.Bias, dataset.Agreement, dataset.Explained:
			return usual
		}
		return l.Metric
	}
	return usual
}

// faults measures on the sign-off recordings what each fault of each kept feature does to every
// output. loss are the rows of the accuracy. The error is that of ctx.
func (pl *Planner) faults(ctx context.Context, net *quant.Network, loss []Loss) (*Faults, error) {
	rec, outputs := pl.in.Signoff, pl.in.judged()
	var faulty []quant.FaultyFeature
	for i := range net.Features {
		for _, f := range quant.EveryFault {
			faulty = append(faulty, quant.FaultyFeature{Feature: i, Fault: f})
		}
	}
	run := net.FaultSequences(rec)
	// per sequence, fault (the last is none) and output
	tallies := make([][][]dataset.Tally, len(run))
	err := dataset.InParallelUntil(ctx, len(run), func(k int) {
		s := rec.Sequences[run[k]]
		tallies[k] = make([][]dataset.Tally, len(faulty)+1)
		for i := range tallies[k] {
			tallies[k][i] = make([]dataset.Tally, len(outputs))
		}
		got := make([]float64, rec.Outputs)
		// its error is that of ctx, which InParallelUntil returns too
		_ = net.RunFaulty(ctx, s, faulty, func(fault, step int, y []int32) {
			if step < s.Settle {
				return
			}
			if fault < 0 {
				fault = len(faulty)
			}
			net.Decode(y, got)
			want := s.Y[step*rec.Outputs : (step+1)*rec.Outputs]
			if rec.Classes {
				tallies[k][fault][0].AddClass(rec.Outputs, dataset.Class(want), dataset.Class(got))
				return
			}
			for o := range want {
				tallies[k][fault][o].Add(got[o] - want[o])
			}
		})
	})
	if err != nil {
		return nil, err
	}
	sums := make([][]dataset.Tally, len(faulty)+1)
	for i := range sums {
		sums[i] = make([]dataset.Tally, len(outputs))
		for o := range outputs {
			for k := range run {
				sums[i][o].Merge(&tallies[k][i][o])
			}
		}
	}
	all := &Faults{Sequences: len(run), Recorded: len(rec.Sequences)}
	for i, f := range faulty {
		value, isFixed := net.FaultValue(f)
		if !isFixed {
			value = math.NaN()
		}
		feature := net.Features[f.Feature]
		for o, output := range outputs {
			metric, without := pl.faultMetric(output, loss), &sums[len(faulty)][o]
			if all.Steps = without.Steps(); all.Steps == 0 {
				return nil, nil // every sequence settles until its end
			}
			all.Rows = append(all.Rows, FaultRow{feature.Name, feature.Unit, f.Fault, value,
				output.Name, metric, output.Unit, without.Value(metric), sums[i][o].Value(metric)})
		}
	}
	return all, nil
}
