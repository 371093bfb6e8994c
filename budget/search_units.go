package budget

import (
	"cmp"
	"context"
	"slices"
	"sort"
)

// CutsByUnits returns a point for every number of hidden units, of all layers together, from what
// the job leaves at the start of the search down to the fewest that its pins allow, with one unit
// per layer at least. Each is the best that was measured with exactly so many units: the cheapest
// within every tolerance, or where none is within, the one that uses least of the tolerances.
//
// What the search of [Planner.FindCut] measured counts; cut is what it found. Where a tolerance is
// given, the rest is made so: with all features, units go one by one, of the eight that are needed
// least the one with the least estimated loss, and every such cut is measured in full. From those
// within every tolerance as many features go, the least needed first, as the estimates allow. The
// points are added to the cut. progress is called after each number of units. The error is that of
// ctx.
func (pl *Planner) CutsByUnits(ctx context.Context, cut *Cut,
	progress func(done, all int)) ([]*Point, error) {
	s := pl.search
	if s == nil || s.cut != cut {
		s = pl.newSearch(cut)
	}
	if len(cut.Points) == 0 {
		if _, err := s.measure(ctx, []child{{change: asGiven, candidate: cut.Given}}); err != nil {
			return nil, err
		}
	}
	at := cut.Points[0]
	first, fewest := at.Candidate.UnitCount(), s.fewestUnits()
	for n := first - 1; n >= fewest; n-- {
		next, err := s.withoutUnit(ctx, at)
		if err != nil {
			return nil, err
		}
		if at, err = s.measureOnce(ctx, next); err != nil {
			return nil, err
		}
		if at.Within() && pl.in.JudgesLoss() {
			if err := s.withoutFeatures(ctx, at); err != nil {
				return nil, err
			}
		}
		progress(first-n, first-fewest)
	}
	best := map[int]*Point{}
	for _, p := range cut.Points {
		n := p.Candidate.UnitCount()
		if !p.Fixed && !p.isTrained() && (best[n] == nil || p.isBetterCut(best[n])) {
			best[n] = p
		}
	}
	var all []*Point
	for _, p := range best {
		all = append(all, p)
	}
	slices.SortFunc(all, func(a, b *Point) int {
		return b.Candidate.UnitCount() - a.Candidate.UnitCount()
	})
	return all, ctx.Err()
}

// isBetterCut reports whether a point is the better one of two with as many units.
func (p *Point) isBetterCut(q *Point) bool {
	switch {
	case p.Within() != q.Within():
		return p.Within()
	case p.Within():
		return p.price.compare(q.price) < 0
	}
	return p.Used < q.Used
}

// fewestUnits is how many units the pins of the job leave at least.
func (s *search) fewestUnits() int {
	sum := 0
	for l := range s.cut.Points[0].Candidate.Units {
		sum += s.pl.in.pins.fewestUnits(l)
	}
	return sum
}

// withoutUnit returns what a point becomes without one unit: of those that are needed least the one
// with the least estimated loss.
func (s *search) withoutUnit(ctx context.Context, p *Point) (child, error) {
	items, err := s.leastNeeded(ctx, p, UnitItem)
	if err != nil {
		return child{}, err
	}
	var all []child
	candidates := []Candidate{p.Candidate}
	for _, i := range items[:min(asked, len(items))] {
		c, _ := i.without(p.Candidate)
		all = append(all, child{parent: p, item: i, change: i.change("out"), candidate: c})
		candidates = append(candidates, c)
	}
	if err := s.guide.estimate(ctx, candidates); err != nil {
		return child{}, err
	}
	return slices.MinFunc(all, func(a, b child) int {
		return cmp.Compare(s.guide.used(p, a.candidate), s.guide.used(p, b.candidate))
	}), nil
}

// withoutFeatures measures a point without as many features as the tolerances allow, the least
// needed ones: the number comes from the estimates, and is halved until one is within.
func (s *search) withoutFeatures(ctx context.Context, p *Point) error {
	items, err := s.leastNeeded(ctx, p, FeatureItem)
	if err != nil {
		return err
	}
	without := func(n int) child {
		joint := several(items[:n])
		c, _ := joint.without(p.Candidate)
		return child{parent: p, item: joint, change: joint.change("out"), candidate: c}
	}
	var failed error
	most := len(items)
	if most == len(p.Candidate.Features) {
		most-- // a network needs a feature
	}
	n := sort.Search(most, func(k int) bool {
		c := without(k + 1)
		if failed == nil {
			failed = s.guide.estimate(ctx, []Candidate{p.Candidate, c.candidate})
		}
		return failed != nil || !(s.guide.used(p, c.candidate) <= 1)
	})
	for ; n > 0 && failed == nil; n /= 2 {
		measured, err := s.measureOnce(ctx, without(n))
		if err != nil || measured.Within() {
			return err
		}
	}
	return failed
}

// measureOnce returns the point of a candidate, which is measured if it was not yet.
func (s *search) measureOnce(ctx context.Context, c child) (*Point, error) {
	if known := s.known[c.candidate.key()]; known != nil {
		return known, ctx.Err()
	}
	points, err := s.measure(ctx, []child{c})
	if err != nil {
		return nil, err
	}
	return points[0], nil
}
