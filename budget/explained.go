package budget

import (
	"math"

	"kerf/dataset"
)

// Explained says how much of an output a network explains: 1 less the ratio of its squared error to
// that of a constant, the mean over all selection recordings; of a classifier its wrong steps to
// those of the most frequent class. Shares of scenarios and regions are shown and decide nothing:
// where an output hardly moves there is hardly any variance to explain.
type Explained struct {
	Output  string
	Signoff bool // on the sign-off recordings, else on the selection recordings
	Scope
	Given     float64 // share that the network as given explains
	Low, High float64 // its 95 % interval; NaN where there is none
	Fixed     float64 // share that the integer network explains; NaN where it was not run
	// error of the constant: RMSE in the unit of the output, accuracy of a classifier
	Constant         float64
	Sequences, Steps int
}

// On names the recordings that a share is of.
func (e *Explained) On() RecordingSet { return setOf(e.Signoff) }

// leastExplained is the share of the variance below which a network does not do what it was trained
// for, whatever else is said of it (our choice).
const leastExplained = 0.1

// IsLittle reports whether a share speaks against the network: it explains less than a tenth, or
// less than nothing with all of its interval.
func (e *Explained) IsLittle() bool {
	return e.IsEverywhere() && (e.Given < leastExplained || e.High < 0)
}

// explained measures the shares of one set of recordings.
func (pl *Planner) explained(rec *dataset.Recordings, given *dataset.Score) []Explained {
	constant := pl.constantOn(rec)
	main := dataset.Metrics(pl.in.Float.Classes)[0]
	var all []Explained
	for o, output := range pl.in.judged() {
		for _, p := range pl.in.places(rec, o) {
			c := dataset.Compare(constant, given, p.slice, dataset.Explained)
			if c.Sequences == 0 || math.IsNaN(c.Other) || math.IsInf(c.Other, 0) {
				continue // the constant makes no error there: nothing can be explained
			}
			all = append(all, Explained{
				Output: output.Name, Signoff: rec == pl.in.Signoff, Scope: p.Scope,
				Given: c.Other, Low: c.OtherLow, High: c.OtherHigh, Fixed: math.NaN(),
				Constant: constant.Value(constant, p.slice, main), Sequences: c.Sequences,
				Steps: c.Steps,
			})
		}
	}
	return all
}
