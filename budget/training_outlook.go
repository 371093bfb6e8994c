package budget

import (
	"fmt"
	"math"

	"kerf/recovery"
)

// outlook says what training could win over a choice that was made without, and at what work. What
// it could win is a guess: the dimensions that units use do not say what a smaller network learns.
type outlook struct {
	units      int     // that stay
	dimensions float64 // that their states take in the network as given, see [prune.LayerView]
	trainings  int     // at least so many
	steps      float64 // of all these together
}

// String returns the note.
func (o *outlook) String() string {
	return fmt.Sprintf("%d units use %.1f dimensions: [recovery] may find fewer, which is a guess "+
		"(at least %d trainings, %.0f million steps)", o.units, o.dimensions, o.trainings,
		o.steps/1e6)
}

// A number of units begins with startsPerSize trainings on the first fold: from the cut, at two
// rates, and from scratch. One of them goes on to the other folds.
const startsPerSize = 3

// outlook returns what training could win; nil where the job has it, where there are too few
// recordings for it, where no number of units is left to be tried, or where the units that stay use
// as many dimensions as there are. The numbers of units are searched by bisection, so n of them
// take 1 + log2(n) at most; what follows with fewer features is short.
func (pl *Planner) outlook(cut *Cut, chosen *Chosen) *outlook {
	in := pl.in
	_, rests := pl.folds()
	if in.Job.Recovery != nil || !in.JudgesLoss() || len(cut.Points) == 0 ||
		in.Job.Units.Count != nil || !pl.isTrainable() {
		return nil
	}
	units := chosen.Candidate.Units
	o := &outlook{units: chosen.Candidate.UnitCount()}
	smaller := 0
	for _, counts := range in.inProportion() {
		if sum(counts) < o.units {
			smaller++
		}
	}
	for _, d := range pl.statistics().Dimensions(units) {
		o.dimensions += d
	}
	if smaller == 0 || math.Ceil(o.dimensions) >= float64(o.units) {
		return nil
	}
	training, _ := in.trainedOn(rests[0])
	s := recovery.Defaults().On(training.Steps())
	sizes := 1 + int(math.Log2(float64(smaller)))
	o.trainings = (startsPerSize + len(rests) - 1) * sizes
	o.steps = float64(o.trainings * s.Epochs * s.EpochSteps(training.Steps()))
	return o
}
