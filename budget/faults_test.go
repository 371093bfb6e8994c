package budget_test

import (
	"math"
	"slices"
	"testing"

	"kerf/budget"
	"kerf/dataset"
	"kerf/quant"
)

// The error with a feature at fault is that of recordings in which the feature is so from half of
// every sequence on, where the first half counts nowhere: measured as any other error is.
func TestFaultsAgainstChangedRecordings(t *testing.T) {
	in := leakageInputs()
	pl := budget.NewPlanner(in)
	cut, err := pl.FindCut(t.Context(), func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	chosen, err := pl.Choose(t.Context(), cut)
	if err != nil {
		t.Fatal(err)
	}
	r, err := pl.Assess(t.Context(), cut, chosen)
	if err != nil {
		t.Fatal(err)
	}
	net, f := chosen.Fixed, r.Faults
	if f.Sequences != len(in.Signoff.Sequences) || f.Recorded != f.Sequences || f.Steps == 0 ||
		len(f.Rows) != len(net.Features)*len(quant.EveryFault)*in.Signoff.Outputs {
		t.Fatalf("%d rows, %+v", len(f.Rows), f)
	}
	at := 0
	for i := range net.Features {
		for _, fault := range quant.EveryFault {
			without, with := halves(in.Signoff, -1, ""), halves(in.Signoff, net.Columns[i], fault)
			scores := [2]*dataset.Score{dataset.Measure(net, without, nil),
				dataset.Measure(net, with, nil)}
			for o, output := range in.Float.Outputs {
				row := f.Rows[at]
				at++
				slice := dataset.Slice{Output: o, Region: -1}
				got := [2]float64{row.Without, row.With}
				for k, score := range scores {
					want := score.Value(scores[0], slice, row.Metric)
					if !(math.Abs(got[k]-want) <= 1e-12*want) || want == 0 {
						t.Errorf("%s %s, %s: %s %g, want %g", row.Feature, fault, output.Name,
							row.Metric, got[k], want)
					}
				}
				if row.Feature != net.Features[i].Name || row.Fault != fault ||
					row.Output != output.Name || math.IsNaN(row.Value) != (fault == quant.Stuck) ||
					row.Factor() != row.With/row.Without || !math.IsNaN(row.Drop()) {
					t.Errorf("row %d is %+v", at-1, row)
				}
			}
		}
	}
}

// halves returns recordings of which the second halves of the sequences count, with a column at
// fault there; -1 for none.
func halves(rec *dataset.Recordings, column int, fault quant.Fault) *dataset.Recordings {
	changed := *rec
	changed.Sequences = nil
	for _, s := range rec.Sequences {
		half := *s
		half.Settle, half.X = s.Steps/2, slices.Clone(s.X)
		for step := half.Settle; step < s.Steps && column >= 0; step++ {
			half.X[step*rec.Features+column] = map[quant.Fault]float64{
				quant.Stuck:  s.X[(half.Settle-1)*rec.Features+column],
				quant.Lowest: -1e30, quant.Highest: 1e30, quant.AtMean: math.NaN()}[fault]
		}
		changed.Sequences = append(changed.Sequences, &half)
	}
	return &changed
}

// The share of steps that a classifier loses is a drop, not a factor.
func TestFaultOfAClassifierIsADrop(t *testing.T) {
	row := budget.FaultRow{Metric: dataset.Accuracy, Without: 0.75, With: 0.5}
	if row.Drop() != 0.25 || !math.IsNaN(row.Factor()) {
		t.Errorf("drop %g, factor %g", row.Drop(), row.Factor())
	}
}
