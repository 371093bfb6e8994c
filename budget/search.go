package budget

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"kerf/prune"
)

// Cut is the way from the network as given to smaller ones that stay within
// every tolerance on the selection recordings.
type Cut struct {
	Given         Candidate // what words are chosen for where nothing was searched
	FeatureScores *prune.Scores
	UnitScores    *prune.Scores
	FeatureRank   []prune.Ranked // least needed first
	UnitRank      []prune.Ranked
	Start         Loss // the tightest judged row of the float network itself
	// every candidate that was measured, in the order of the search; the first is where it began
	Points  []*Point
	Stopped bool // the time that the job gives ended it
	Path    []PathStep
	Trained []Attempt // what was trained, in the order of the search
}

// beamWidth is how many candidates the search follows at a time once one uses tightFrom of a
// tolerance. Before, it follows one: there is room to come back from a choice that was not the
// best. Our choice: on the jobs of docs/search.md a wider beam found nothing cheaper.
const (
	beamWidth = 3
	tightFrom = 0.5
)

// search looks for the cheapest cut. It goes backwards from the network as given.
//
// In every round ([search.round]) each candidate of the beam suggests what might go next
// ([search.suggest]): the front ends, the eight features and the eight units that are needed least,
// and the first 2, 4, 8 and so on of them together. How much an item is needed says one run
// backwards through the candidate ([guide.needsOf]). The guide estimates what each suggestion would
// lose: with one ridge strength instead of the best ([prune.Statistics.Sketch]), scored in float32
// on windows of the recordings ([windowsOf]), with jackknife intervals, and taken as a difference
// to the parent, which was measured. In the order of what is saved per tolerance used, children are
// cut and measured in full until three are within every tolerance; those are the next beam, and
// every ranking is made anew from them. What breaks a tolerance in any scenario or region, measured
// or by the estimate, is not tried again on any candidate that is made of that one.
//
// Estimates decide what is measured, and nothing else. A cut is measured in full on the states of
// its refit, in float32; what is chosen is measured again, with integers and in float64.
//
// What is saved counts by the objective (objective.go), plus what broken limits lack. Then
// [Planner.Choose] takes the points in the order of their price through fixed point. A price is
// compared as it is listed: a cut with the narrowest uniform words and typical shifts, a network in
// fixed point with its own. So the same cut mostly gets a little dearer by rounding, and some of
// what is tried turns out to cost as much as the choice.
//
// docs/search.md has figures, and jobs where the search does not help.
type search struct {
	pl    *Planner
	cut   *Cut
	items []item
	guide *guide
	known map[cutKey]*Point
	lost  map[*Point]*losses
	until time.Time // zero: no end
}

// FindCut searches for smaller networks within every tolerance. progress is called after each round
// with the number of candidates that were measured; nobody knows how many there will be. Where the
// job has no tolerance nothing is searched. The error is that of ctx.
func (pl *Planner) FindCut(ctx context.Context, progress func(measured int)) (*Cut, error) {
	cut, err := pl.Rank(ctx)
	if err != nil {
		return nil, err
	}
	in := pl.in
	formats, _ := in.Job.Formats.candidates(in.Float.Net) // checked when the job was read
	cut.Given = in.start(formats[0])
	if !in.JudgesLoss() {
		if counts := in.Job.Units.Count; counts != nil {
			cut.Given, err = pl.withUnits(cut.Given.Features, counts, cut)
		}
		return cut, err
	}
	cut.Start, _ = pl.within(pl.floatOnSelection())
	s := pl.newSearch(cut)
	pl.search = s
	if t := in.Job.Search.Time; t != nil {
		s.until = time.Now().Add(time.Duration(float64(*t) * float64(time.Second)))
	}
	beam, err := s.measure(ctx, []child{{change: asGiven, candidate: cut.Given}})
	if err != nil {
		return nil, err
	}
	for len(beam) > 0 && cut.Points[0].Within() {
		if s.over() {
			break
		}
		if beam, err = s.round(ctx, beam); err != nil {
			return nil, err
		}
		progress(len(cut.Points))
	}
	cut.Path = cut.pathTo(s.cheapest().Candidate)
	return cut, ctx.Err()
}

// asGiven is the change that begins a search.
const asGiven = "as given"

// newSearch returns a search that has measured nothing yet.
func (pl *Planner) newSearch(cut *Cut) *search {
	return &search{pl: pl, cut: cut, items: pl.in.items(cut), guide: pl.newGuide(),
		known: map[cutKey]*Point{}, lost: map[*Point]*losses{}}
}

// CutByHand is a cut in which nothing was searched: its candidate is given.
func CutByHand(c Candidate) *Cut { return &Cut{Given: c} }

// over reports whether the time that the job gives is over, and notes in the cut that it ended the
// work that is left. There may be no search.
func (s *search) over() bool {
	if s == nil || s.until.IsZero() || !time.Now().After(s.until) {
		return false
	}
	s.cut.Stopped = true
	return true
}

// cheapest is the point within every tolerance that costs least, the first of equals; where there
// is none, the start.
func (s *search) cheapest() *Point {
	best := s.cut.Points[0]
	for _, p := range s.cut.Points {
		if p.Within() && p.price.compare(best.price) < 0 {
			best = p
		}
	}
	return best
}

// child is what a point suggests.
type child struct {
	parent    *Point
	item      item
	change    string
	candidate Candidate
	used      float64 // estimated
	merit     float64
}

// hopeless is the estimated share of a tolerance beyond which a candidate is not measured. Of 200
// that were measured on the demo, cityweather and two random networks of 32 units although they
// were estimated above 1, 10 came out within every tolerance, all estimated below 1.2.
const hopeless = 1.25

// round measures the best children of a beam until enough are within every tolerance; it returns
// those, or none when no candidate of the beam can lose anything more.
func (s *search) round(ctx context.Context, beam []*Point) ([]*Point, error) {
	for {
		pool, untried, err := s.children(ctx, beam)
		if err != nil {
			return nil, err
		}
		var next []*Point
		width := beamWidth
		if beam[0].Used < tightFrom {
			width = 1
		}
		for len(pool) > 0 && len(next) < width {
			n := min(width-len(next), len(pool))
			batch := pool[:n]
			pool = pool[n:]
			points, err := s.measure(ctx, batch)
			if err != nil {
				return nil, err
			}
			for i, p := range points {
				if p.Within() {
					next = append(next, p)
				} else {
					s.lost[batch[i].parent].refuse(batch[i].item)
				}
			}
		}
		if len(next) > 0 || !untried {
			slices.SortStableFunc(next, func(a, b *Point) int {
				return cmp.Compare(s.merit(b.price, b.Used), s.merit(a.price, a.Used))
			})
			return next, nil
		}
	}
}

// besides is how many neighbours of the choice are measured in full of each sort of item, whatever
// the estimate says: so a reader sees what the next cut would break.
const besides = 2

// beside measures what a point cannot lose, of each sort the least estimated loss first.
func (s *search) beside(ctx context.Context, p *Point) error {
	var all []child
	var candidates []Candidate
	for _, i := range s.items {
		if c, ok := i.without(p.Candidate); ok && s.known[c.key()] == nil {
			all = append(all, child{parent: p, item: i, change: i.change("out"), candidate: c})
			candidates = append(candidates, c)
		}
	}
	if err := s.guide.estimate(ctx, append(candidates, p.Candidate)); err != nil {
		return err
	}
	for i := range all {
		all[i].used = s.guide.used(p, all[i].candidate)
	}
	slices.SortStableFunc(all, func(a, b child) int { return cmp.Compare(a.used, b.used) })
	count := map[string]int{}
	_, err := s.measure(ctx, slices.DeleteFunc(all, func(c child) bool {
		count[c.item.sort]++
		return count[c.item.sort] > besides
	}))
	return err
}

// children lists what the points of a beam suggest, the best first, and reports whether there was
// anything.
func (s *search) children(ctx context.Context, beam []*Point) (pool []child, untried bool,
	err error) {
	var all []child
	var candidates []Candidate
	for _, p := range beam {
		candidates = append(candidates, p.Candidate)
		items, err := s.suggest(ctx, p)
		if err != nil {
			return nil, false, err
		}
		for _, i := range items {
			c, ok := i.without(p.Candidate)
			if !ok {
				continue
			}
			all = append(all, child{parent: p, item: i, change: i.change("out"), candidate: c})
			candidates = append(candidates, c)
		}
	}
	if err := s.guide.estimate(ctx, candidates); err != nil {
		return nil, false, err
	}
	seen := map[cutKey]bool{}
	for _, c := range all {
		key := c.candidate.key()
		known := s.known[key]
		c.used = s.guide.used(c.parent, c.candidate)
		switch {
		case known != nil && !known.Within() || known == nil && !(c.used <= hopeless):
			s.lost[c.parent].refuse(c.item)
			untried = true
		case known == nil && !seen[key]:
			untried = true
			seen[key] = true
			c.merit = s.merit(s.pl.priceOf(c.candidate), c.used)
			pool = append(pool, c)
		}
	}
	slices.SortStableFunc(pool, func(a, b child) int { return cmp.Compare(b.merit, a.merit) })
	return pool, untried, nil
}

// leastUsed is the share of a tolerance below which less is no merit: there a loss says more of the
// recordings than of the cut.
const leastUsed = 0.25

// merit is what a candidate saves of the price at the start per tolerance used.
func (s *search) merit(p price, used float64) float64 {
	return saving(s.cut.Points[0].price, p) / math.Max(used, leastUsed)
}

// Rank scores features and units by the gradients of the outputs ([prune.Saliencies]), or features
// by the scores that the job gives. The error is that of ctx.
func (pl *Planner) Rank(ctx context.Context) (*Cut, error) {
	look := pl.look()
	features, units, err := prune.Saliencies(ctx, pl.in.Float, look.windows, look.prepared)
	if err != nil {
		return nil, err
	}
	cut := &Cut{FeatureScores: pl.in.Scores, UnitScores: units}
	if cut.FeatureScores == nil {
		cut.FeatureScores = features
	}
	cut.FeatureRank, cut.UnitRank = cut.FeatureScores.Ranking(), cut.UnitScores.Ranking()
	return cut, nil
}
