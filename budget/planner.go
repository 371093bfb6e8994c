package budget

import (
	"context"
	"sync"

	"kerf/dataset"
	"kerf/prune"
)

// Planner makes one plan for the inputs of a job: it keeps what is found out on the way, and the
// inputs stay as they were read. One planner belongs to one plan, so its methods are called one
// after the other; planners of the same inputs may work at the same time.
//
// A method that is given a context and returns an error returns that of the context when it ends.
// It looks at the context between pieces of work of well below half a second.
type Planner struct {
	in     *Inputs
	prices *pricing

	// What the network as given predicts on the selection recordings, its scores, and those of the
	// constant that explained shares compare with, each measured once.
	predictedByFloat    func() [][]float64
	floatOnSelection    func() *dataset.Score
	floatReach          func() []float64
	constantOnSelection func() *dataset.Score
	constantOnSignoff   func() *dataset.Score
	statistics          func() *prune.Statistics
	// The selection recordings as a device sees them: sequences that have samples with the features
	// that integers compute of these. Every network but the one as given is measured on them.
	sampled *dataset.Recordings
	laidOut func() *dataset.Prepared // sampled, for the network as given
	look    func() *look             // what estimates look at

	computed *prune.Values  // the scores of features, where the job gives none
	search   *search        // of the last cut that was found; nil: there was none
	table    *table         // of the last choice from a cut; nil: there was none
	trained  *trainedSearch // of the last recovery training; nil: there was none
	last     *prepared      // what was brought to fixed point last
	cuts     map[cutKey]*dataset.Float
}

// NewPlanner returns a planner that has found out nothing yet.
func NewPlanner(in *Inputs) *Planner {
	pl := &Planner{in: in, prices: in.pricing(), cuts: map[cutKey]*dataset.Float{},
		sampled: in.Selection.AsSampled()}
	pl.predictedByFloat = sync.OnceValue(func() [][]float64 {
		return predictions(in.Selection, in.Float)
	})
	pl.floatOnSelection = sync.OnceValue(func() *dataset.Score {
		return in.measured(pl.predictedByFloat())
	})
	pl.constantOnSelection = sync.OnceValue(func() *dataset.Score {
		return in.measureConstant(in.Selection)
	})
	pl.constantOnSignoff = sync.OnceValue(func() *dataset.Score {
		return in.measureConstant(in.Signoff)
	})
	pl.floatReach = sync.OnceValue(func() []float64 {
		base := pl.floatOnSelection()
		var reach []float64
		rows := pl.lossRows(in.Selection, scores{float: base, cut: base, fixed: base}, true)
		for _, row := range rows {
			reach = append(reach, row.reach())
		}
		return reach
	})
	pl.laidOut = sync.OnceValue(func() *dataset.Prepared {
		return dataset.Prepare(in.Float, pl.sampled, in.Regions)
	})
	pl.look = sync.OnceValue(func() *look {
		windows := windowsOf(pl.sampled)
		if windows == pl.sampled {
			return &look{windows, pl.laidOut()}
		}
		return &look{windows, dataset.Prepare(in.Float, windows, in.Regions)}
	})
	pl.statistics = sync.OnceValue(func() *prune.Statistics {
		return prune.MeasureStatisticsOn(in.Float, pl.sampled, pl.laidOut())
	})
	return pl
}

// Computed returns the scores that [Planner.ScoreFeatures] computed; nil where the job gives them.
func (pl *Planner) Computed() *prune.Values { return pl.computed }

// Statistics returns the statistics of the network as given on the selection recordings, from
// which cuts are made.
func (pl *Planner) Statistics() *prune.Statistics { return pl.statistics() }

// constantOn returns the score of the means of the selection recordings, which explained shares
// compare with.
func (pl *Planner) constantOn(rec *dataset.Recordings) *dataset.Score {
	switch rec {
	case pl.in.Selection:
		return pl.constantOnSelection()
	case pl.in.Signoff:
		return pl.constantOnSignoff()
	}
	return pl.in.measureConstant(rec)
}

// ScoreFeatures computes the scores of the features once if the job gives none. progress is called
// with the number of finished rounds and of all, and may be nil.
func (pl *Planner) ScoreFeatures(ctx context.Context, progress func(done, all int)) error {
	if pl.in.Scores != nil || pl.computed != nil {
		return ctx.Err()
	}
	values, err := prune.FeatureValues(ctx, pl.in.Float, pl.in.Selection,
		prune.Settings{Progress: progress})
	pl.computed = values
	return err
}

// Inputs returns what the plan is made for.
func (pl *Planner) Inputs() *Inputs { return pl.in }
