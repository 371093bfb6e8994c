package budget

import (
	"cmp"
	"context"
	"math"
	"slices"

	"kerf/dataset"
	"kerf/prune"
)

// guide estimates what candidates would lose. Its figures only say what to measure next.
type guide struct {
	*look
	pl       *Planner
	base     *dataset.Score
	constant *dataset.Score       // nil: no tolerance is on an explained share
	rows     map[cutKey][]float64 // the value of every judged row
	needs    map[cutKey]*needs
}

func (pl *Planner) newGuide() *guide {
	g := &guide{look: pl.look(), pl: pl, rows: map[cutKey][]float64{},
		needs: map[cutKey]*needs{}}
	g.base = g.prepared.Score(pl.in.Float)
	if pl.in.judgesExplained() {
		g.constant = dataset.Measure(pl.in.constant(), g.windows, pl.in.Regions)
	}
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
		reaches[i] = g.judgedReaches(scores[i])
	}); err != nil {
		return err
	}
	for i, key := range keys {
		g.rows[key] = reaches[i]
	}
	return nil
}

// used estimates the share of the tolerances that a child uses: what was measured of its
// parent, and on every row what the child differs from it here. A row of which the windows have too
// little counts as that of the parent.
func (g *guide) used(parent *Point, child Candidate) float64 {
	before, after := g.rows[parent.Candidate.key()], g.rows[child.key()]
	floor := g.pl.floatReach()
	most := math.Inf(-1)
	for i, row := range parent.Rows {
		if row.Sequences == 0 {
			continue
		}
		reach := row.reach()
		if more := after[i] - before[i]; !math.IsNaN(more) {
			reach += more
		}
		most = math.Max(most, reach/allowance(row, floor[i]))
	}
	return most
}

// needs say how much the outputs of a cut network need each of its features and units.
type needs struct {
	features map[int]float64 // by index in the network as given
	units    map[prune.Unit]float64
}

// needsOf returns the needs of a candidate: the first-order change of the outputs when the item is
// held at its mean, in its worst case as a share of the changes of all items of the sort
// ([prune.Saliencies] of the cut network), times the root of the share of variance that what stays
// does not predict. The error is that of ctx.
func (g *guide) needsOf(ctx context.Context, c Candidate) (*needs, error) {
	key := c.key()
	if g.needs[key] != nil {
		return g.needs[key], ctx.Err()
	}
	statistics := g.pl.statistics()
	features, units, err := prune.Saliencies(ctx, statistics.Sketch(c.Features, c.Units), g.windows,
		g.prepared)
	if err != nil {
		return nil, err
	}
	ofFeatures, ofUnits := statistics.Unexplained(c.Features, c.Units)
	n := &needs{map[int]float64{}, map[prune.Unit]float64{}}
	for _, r := range features.Ranking() {
		n.features[c.Features[r.Item]] = r.Share * math.Sqrt(ofFeatures[r.Item])
	}
	shares := units.Shares()
	for l, kept := range c.Units {
		for at, j := range kept {
			n.units[prune.Unit{Layer: l, Index: j}] = shares[at].Share * math.Sqrt(ofUnits[l][at])
		}
		shares = shares[len(kept):]
	}
	g.needs[key] = n
	return n, nil
}

// judgedReaches is what every row may reach, in the order of lossRows, with rough intervals.
func (g *guide) judgedReaches(score *dataset.Score) []float64 {
	pl := g.pl
	reaches := []float64{} // not nil: no row is an answer as well
	for o, output := range pl.in.judged() {
		for _, place := range pl.in.places(pl.in.Selection, o) {
			for _, t := range pl.in.Job.Tolerances[output.Name].rules(place.Scope) {
				from := g.base
				if t.metric == dataset.Explained {
					from = g.constant
				}
				c := dataset.CompareRoughly(from, score, place.slice, t.metric)
				row := Loss{RowName: RowName{Metric: t.metric}, Relative: t.relative, Rise: c.Rise,
					RiseHigh: c.RiseHigh, Fixed: c.Other, FixedLow: c.OtherLow,
					FixedHigh: c.OtherHigh, Sequences: c.Sequences, Blocks: c.Blocks,
					comparisons: pl.in.comparisons(), counts: pl.in.sequencesOf(place.slice)}
				reaches = append(reaches, row.reach())
			}
		}
	}
	return reaches
}

// asked is how many features and how many units of a candidate are estimated alone at a time.
const asked = 8

// leastNeeded lists the features or the units that a point may lose, the least needed first. The
// error is that of ctx.
func (s *search) leastNeeded(ctx context.Context, p *Point, sort string) ([]item, error) {
	needs, err := s.guide.needsOf(ctx, p.Candidate)
	if err != nil {
		return nil, err
	}
	need := func(i item) float64 {
		if sort == UnitItem {
			return needs.units[i.units[0]]
		}
		return needs.features[i.features[0]]
	}
	var all []item
	for _, i := range s.items {
		if _, ok := i.without(p.Candidate); ok && i.sort == sort {
			all = append(all, i)
		}
	}
	slices.SortStableFunc(all, func(a, b item) int { return cmp.Compare(need(a), need(b)) })
	return all, nil
}

// suggest lists what may be cut next from a point: front ends and channels, and the features and
// units that are needed least, each of the first alone, and the first 2, 4, 8 and so on together.
// What was refused before is not among them. The error is that of ctx.
func (s *search) suggest(ctx context.Context, p *Point) ([]item, error) {
	var all []item
	for _, i := range s.items {
		isGroup := i.sort == FrontEndItem || i.sort == ChannelItem
		if _, ok := i.without(p.Candidate); ok && isGroup && !s.refuses(p, i) {
			all = append(all, i)
		}
	}
	for _, sort := range []string{FeatureItem, UnitItem} {
		items, err := s.leastNeeded(ctx, p, sort)
		if err != nil {
			return nil, err
		}
		items = slices.DeleteFunc(items, func(i item) bool { return s.refuses(p, i) })
		all = append(all, items[:min(asked, len(items))]...)
		for n := 2; n <= len(items); n *= 2 {
			if joint := several(items[:n]); !s.refuses(p, joint) {
				all = append(all, joint)
			}
		}
	}
	return all, nil
}
