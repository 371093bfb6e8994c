package budget

import (
	"cmp"
	"context"
	"math"
	"slices"

	"kerf/dataset"
)

// guide estimates what candidates would lose. Its figures only say what to measure next.
type guide struct {
	pl       *Planner
	prepared *dataset.Prepared
	base     *dataset.Score
	rows     map[cutKey][]float64 // the value of every judged row
}

func (pl *Planner) newGuide() *guide {
	g := &guide{pl: pl, rows: map[cutKey][]float64{}}
	g.prepared = dataset.Prepare(pl.in.Float, pl.in.Selection, pl.in.Regions)
	g.base = g.prepared.Score(pl.in.Float)
	return g
}

// estimate fills in the rows of candidates, all side by side. The error is that of ctx.
func (g *guide) estimate(ctx context.Context, candidates []Candidate) error {
	var keys []cutKey
	var fresh []Candidate
	for _, c := range candidates {
		if key := c.key(); g.rows[key] == nil && !slices.Contains(keys, key) {
			keys, fresh = append(keys, key), append(fresh, c)
		}
	}
	sketches := make([]*dataset.Float, len(fresh))
	statistics := g.pl.statistics()
	if err := dataset.InParallelUntil(ctx, len(fresh), func(i int) {
		sketches[i] = statistics.Sketch(fresh[i].Features, fresh[i].Units)
	}); err != nil {
		return err
	}
	scores, err := g.prepared.ScoreAll(ctx, sketches)
	if err != nil {
		return err
	}
	reaches := make([][]float64, len(fresh))
	if err := dataset.InParallelUntil(ctx, len(fresh), func(i int) {
		reaches[i] = g.pl.judgedReaches(g.base, scores[i])
	}); err != nil {
		return err
	}
	for i, key := range keys {
		g.rows[key] = reaches[i]
	}
	return nil
}

// used estimates the share of the tolerances that a child uses: what was measured of its
// parent, and on every row what the child differs from it here.
func (g *guide) used(parent *Point, child Candidate) float64 {
	before, after := g.rows[parent.Candidate.key()], g.rows[child.key()]
	floor := g.pl.floatReach()
	most := math.Inf(-1)
	for i, row := range parent.Rows {
		if row.Sequences == 0 {
			continue
		}
		reach := row.reach() + after[i] - before[i]
		most = math.Max(most, reach/allowance(row, floor[i]))
	}
	return most
}

// judgedReaches is what every row may reach, in the order of lossRows, with rough intervals.
func (pl *Planner) judgedReaches(base, score *dataset.Score) []float64 {
	reaches := []float64{} // not nil: no row is an answer as well
	for o, output := range pl.in.judged() {
		for _, place := range pl.in.places(pl.in.Selection, o) {
			for _, t := range pl.in.Job.Tolerances[output.Name].rules(place.Scope) {
				from := base
				if t.metric == dataset.Explained {
					from = pl.constantOn(pl.in.Selection)
				}
				c := dataset.CompareRoughly(from, score, place.slice, t.metric)
				row := Loss{RowName: RowName{Metric: t.metric}, Relative: t.relative, Rise: c.Rise,
					RiseHigh: c.RiseHigh, Fixed: c.Other, FixedLow: c.OtherLow,
					FixedHigh: c.OtherHigh, Sequences: c.Sequences, Blocks: c.Blocks}
				reaches = append(reaches, row.reach())
			}
		}
	}
	return reaches
}

// asked is how many features and how many units of a candidate are estimated at a time.
const asked = 8

// bundles are the numbers of items that are also taken away together.
var bundles = []int{2, 4, 8}

// suggest lists what may be cut next from a point: front ends, and the features and units that the
// scores and the others' power to replace them speak for (share of the score times the root of the
// share of variance that what stays does not predict), each alone and the first of them together.
func (s *search) suggest(p *Point) []item {
	ofFeatures, ofUnits := s.pl.statistics().Unexplained(p.Candidate.Features, p.Candidate.Units)
	left := func(i item) float64 {
		if i.sort == UnitItem {
			u := i.units[0]
			return ofUnits[u.Layer][slices.Index(p.Candidate.Units[u.Layer], u.Index)]
		}
		return ofFeatures[slices.Index(p.Candidate.Features, i.features[0])]
	}
	var all []item
	bySort := map[string][]item{}
	need := map[string]float64{}
	for _, i := range s.items {
		if _, ok := i.without(p.Candidate); !ok || s.refuses(p, i) {
			continue
		}
		if i.sort == FrontEndItem {
			all = append(all, i)
			continue
		}
		bySort[i.sort] = append(bySort[i.sort], i)
		need[i.key()] = i.share * math.Sqrt(left(i))
	}
	for _, sort := range []string{FeatureItem, UnitItem} {
		items := bySort[sort]
		slices.SortStableFunc(items, func(a, b item) int {
			return cmp.Compare(need[a.key()], need[b.key()])
		})
		items = items[:min(asked, len(items))]
		all = append(all, items...)
		for _, n := range bundles {
			if n <= len(items) {
				if joint := several(items[:n]); !s.refuses(p, joint) {
					all = append(all, joint)
				}
			}
		}
	}
	return all
}
