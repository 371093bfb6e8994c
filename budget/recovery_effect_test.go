package budget

import (
	"math"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
	"kerf/recovery"
)

// kept cuts the open data set by rank, and recovers.
func kept(t *testing.T, in *Inputs, features, units int) (cut, recovered *dataset.Float) {
	t.Helper()
	pl := NewPlanner(in)
	ranking, err := pl.Rank(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	most := func(rank []prune.Ranked, n int) []int {
		var items []int
		for _, r := range rank[len(rank)-n:] {
			items = append(items, r.Item)
		}
		slices.Sort(items)
		return items
	}
	c := in.Whole(quant.Uniform(in.Float.Net, 8, 16, 16))
	c.Features, c.Units = most(ranking.FeatureRank, features),
		[][]int{most(ranking.UnitRank, units)}
	p, err := pl.prepare(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	training, heldBack := in.trainedOn(in.Selection)
	r, err := recovery.Train(t.Context(), &recovery.Task{Start: p.scaled, Teacher: in.Float,
		Formats: &c.Formats, Training: training, HeldBack: heldBack}, in.Job.Recovery.Settings(),
		nil, func(*recovery.Result) {})
	if err != nil {
		t.Fatal(err)
	}
	return pl.Statistics().Cut(c.Features, c.Units, prune.Refit), r.Net
}

// apart is the distance of two predictors in an output over the sign-off recordings.
func apart(in *Inputs, a, b dataset.Predictor, output int) float64 {
	sum := 0.0
	for _, s := range in.Signoff.Sequences {
		x, y := make([]float64, len(s.Y)), make([]float64, len(s.Y))
		a.Predict(s, x)
		b.Predict(s, y)
		for k := output; k < len(x); k += in.Signoff.Outputs {
			sum += (x[k] - y[k]) * (x[k] - y[k])
		}
	}
	return math.Sqrt(sum)
}

// TestRecoveryWinsBackWhatUnitsTook pins what docs/recovery.md says of the open data: where only
// units went, training leaves at most a third of the rise that compensation leaves. Where features
// went as well it comes as near to the network as given as the compensated network of all units
// does, since no unit knows what the features knew.
func TestRecoveryWinsBackWhatUnitsTook(t *testing.T) {
	in := mustCity(t, "seed = 1")
	base := dataset.Measure(in.Float, in.Signoff, nil)
	rise := func(p dataset.Predictor, output int) float64 {
		return dataset.Compare(base, dataset.Measure(p, in.Signoff, nil),
			dataset.Slice{Output: output, Region: -1}, dataset.RMSE).Rise
	}
	cut, recovered := kept(t, in, 12, 6)
	halfCut, halfRecovered := kept(t, in, 7, 6)
	allUnits, _ := kept(t, in, 7, 12)
	for o, out := range in.Float.Outputs {
		if before, after := rise(cut, o), rise(recovered, o); !(before > 0.02 && after < before/3) {
			t.Errorf("%s, half of the units: a rise of %.4f after the cut, %.4f recovered",
				out.Name, before, after)
		}
		before, after, featuresAlone := apart(in, in.Float, halfCut, o),
			apart(in, in.Float, halfRecovered, o), apart(in, in.Float, allUnits, o)
		if !(after < 0.8*before && after < 1.1*featuresAlone) {
			t.Errorf("%s, 7 features: %.1f from the network as given, %.1f recovered, %.1f with "+
				"all units", out.Name, before, after, featuresAlone)
		}
	}
}
