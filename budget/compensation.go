package budget

import (
	"context"

	"kerf/dataset"
	"kerf/prune"
)

// cutNetwork returns the float network of a candidate, with what it lost replaced as well as kerf
// can. Candidates that keep the same features and units share it.
func (pl *Planner) cutNetwork(c Candidate) *dataset.Float {
	key := c.key()
	if pl.cuts[key] == nil {
		pl.cuts[key] = pl.statistics().Cut(c.Features, c.Units, prune.Refit)
	}
	return pl.cuts[key]
}

// MethodLoss is what a cut costs with one way to replace what it removes.
type MethodLoss struct {
	Method prune.Method
	Rows   []Loss // on the selection recordings; float and cut, before any rounding
}

// CompareMethods cuts one candidate in every way, on the rows that have a tolerance, or on all rows
// when the job gives none. The error is that of ctx.
func (pl *Planner) CompareMethods(ctx context.Context, c Candidate) ([]MethodLoss, error) {
	base := pl.floatOnSelection()
	var all []MethodLoss
	for _, m := range prune.Methods {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		score := dataset.Measure(pl.statistics().Cut(c.Features, c.Units, m), pl.sampled,
			pl.in.Regions)
		rows := pl.lossRows(pl.in.Selection, scores{float: base, cut: score, fixed: score},
			pl.in.JudgesLoss())
		all = append(all, MethodLoss{m, rows})
	}
	return all, nil
}
