package budget

import (
	"math"
	"testing"

	"kerf/prune"
	"kerf/quant"
)

// What training could win is said where there is something to train for: the dimensions are those
// that kerf observe shows where every unit stays, and the trainings are about those of the search.
func TestOutlook(t *testing.T) {
	trained := mustCity(t, "epochs = 20")
	in := *trained
	job := *trained.Job
	job.Recovery, in.Job = nil, &job
	pl := NewPlanner(&in)
	cut, chosen := searchedBy(t, pl)
	o := pl.outlook(cut, chosen)
	if o == nil {
		t.Fatal("nothing is said of 12 units")
	}
	want := prune.Observe(in.Float, in.Selection, nil).Layers[0].Dimensions
	if o.units != 12 || !(math.Abs(o.dimensions-want) < 0.05*want) {
		t.Errorf("%d units use %g dimensions, observed are %g", o.units, o.dimensions, want)
	}

	with := NewPlanner(trained)
	if cut, chosen := searchedBy(t, with); with.outlook(cut, chosen) != nil {
		t.Error("training is advised in a job that trains")
	} else if _, err := with.Recover(t.Context(), cut, chosen, nil, untold); err != nil {
		t.Fatal(err)
	}
	if n := len(with.trained.trainings.done); n < o.trainings/2 || n > 5*o.trainings {
		t.Errorf("%d trainings, about %d were said", n, o.trainings)
	}

	if pl.outlook(CutByHand(in.Whole(quant.Formats{})), chosen) != nil {
		t.Error("training is advised for a cut by hand")
	}
	job.Tolerances = nil
	if pl.outlook(cut, chosen) != nil {
		t.Error("training is advised where nothing is judged")
	}
}
