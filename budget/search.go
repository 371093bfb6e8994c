package budget

import (
	"cmp"
	"math"
	"slices"
	"time"

	"kerf/prune"
)

// Cut is the way from the network as given to smaller ones that stay within
// every tolerance on the selection recordings.
type Cut struct {
	Statistics    *prune.Statistics // of the network as given, on the selection recordings
	FeatureScores *prune.Scores
	UnitScores    *prune.Scores
	FeatureRank   []prune.Ranked // least needed first
	UnitRank      []prune.Ranked
	Start         Loss // the judged row in which the float network itself has the least room
	StartReach    float64
	// every candidate that was measured, in the order of the search; the first is where it began
	Points  []*Point
	Stopped bool // the time that the job gives ended it
	Path    []PathStep

	search    *search
	unrounded string // why cheaper points were not brought to fixed point; empty: they were
}

// beamWidth is how many candidates the search follows at a time. Our choice: on the jobs of
// docs/search.md a wider one found nothing cheaper.
const beamWidth = 3

// search looks for the cheapest cut.
//
// It goes backwards from the network as given. In every round each candidate of the beam suggests
// what might go next; a quick estimate says what that would lose; what saves the most per tolerance
// used is then cut in full and measured. What breaks a tolerance in any scenario or region stays,
// for all candidates that are made of that one. The round's best go on, and every ranking is made
// anew from them.
type search struct {
	in    *Inputs
	cut   *Cut
	items []item
	guide *guide
	known map[string]*Point // by cutKey
	until time.Time         // zero: no end
}

// FindCut searches for smaller networks within every tolerance. progress is called after each round
// with the number of items that are decided and the number of all.
func (in *Inputs) FindCut(progress func(done, all int)) *Cut {
	cut := in.Rank()
	formats, _ := in.Job.Formats.candidates(in.Float.Net) // checked when the job was read
	start := in.start(formats[0])
	if !in.JudgesLoss() {
		return cut
	}
	cut.Start, cut.StartReach, _ = in.within(in.floatOnSelection())
	s := &search{in: in, cut: cut, items: in.items(cut), guide: in.newGuide(cut.Statistics),
		known: map[string]*Point{}}
	cut.search = s
	if t := in.Job.Search.Time; t != nil {
		s.until = time.Now().Add(time.Duration(float64(*t) * float64(time.Second)))
	}
	first := s.measure([]child{{change: "as given", candidate: start}})[0]
	beam := []*Point{first}
	for len(beam) > 0 && first.Within() {
		if cut.Stopped = s.over(); cut.Stopped {
			break
		}
		beam = s.round(beam)
		if len(beam) > 0 {
			progress(min(beam[0].gone+len(beam[0].refused), len(s.items)-1), len(s.items))
		}
	}
	cut.Path = cut.pathTo(s.cheapest().Candidate)
	progress(1, 1)
	return cut
}

// over tells whether the time that the job gives is over. There may be no search.
func (s *search) over() bool { return s != nil && !s.until.IsZero() && time.Now().After(s.until) }

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

// hopeless is the estimated share of a tolerance beyond which a candidate is not measured: of some
// hundred candidates that were measured on the demo and on cityweather, none was estimated at twice
// what it then used.
const hopeless = 2

// round measures the best children of a beam until enough are within every tolerance; it returns
// those, or none when no candidate of the beam can lose anything more.
func (s *search) round(beam []*Point) []*Point {
	for {
		pool, untried := s.children(beam)
		var next []*Point
		for len(pool) > 0 && len(next) < beamWidth {
			n := min(beamWidth-len(next), len(pool))
			batch := pool[:n]
			pool = pool[n:]
			for i, p := range s.measure(batch) {
				if p.Within() {
					next = append(next, p)
				} else {
					batch[i].parent.refuse(batch[i].item)
				}
			}
		}
		if len(next) > 0 || !untried {
			slices.SortStableFunc(next, func(a, b *Point) int {
				return cmp.Compare(s.merit(b.price, b.Used), s.merit(a.price, a.Used))
			})
			return next
		}
	}
}

// besides is how many neighbours of the choice are measured in full of each sort of item, whatever
// the estimate says: so a reader sees what the next cut would break.
const besides = 2

// beside measures what a point cannot lose, of each sort the least estimated loss first.
func (s *search) beside(p *Point) {
	var all []child
	var candidates []Candidate
	for _, i := range s.items {
		if c, ok := i.without(p.Candidate); ok && s.known[cutKey(c)] == nil {
			all = append(all, child{parent: p, item: i, change: i.change("out"), candidate: c})
			candidates = append(candidates, c)
		}
	}
	s.guide.estimate(append(candidates, p.Candidate))
	for i := range all {
		all[i].used = s.guide.used(p, all[i].candidate)
	}
	slices.SortStableFunc(all, func(a, b child) int { return cmp.Compare(a.used, b.used) })
	count := map[string]int{}
	s.measure(slices.DeleteFunc(all, func(c child) bool {
		count[c.item.sort]++
		return count[c.item.sort] > besides
	}))
}

// children lists what the points of a beam suggest, the best first, and tells whether there was
// anything.
func (s *search) children(beam []*Point) (pool []child, untried bool) {
	var all []child
	var candidates []Candidate
	for _, p := range beam {
		candidates = append(candidates, p.Candidate)
		for _, i := range s.suggest(p) {
			c, ok := i.without(p.Candidate)
			if !ok {
				continue
			}
			all = append(all, child{parent: p, item: i, change: i.change("out"), candidate: c})
			candidates = append(candidates, c)
		}
	}
	s.guide.estimate(candidates)
	seen := map[string]bool{}
	for _, c := range all {
		key := cutKey(c.candidate)
		known := s.known[key]
		c.used = s.guide.used(c.parent, c.candidate)
		switch {
		case known != nil && !known.Within() || known == nil && !(c.used <= hopeless):
			c.parent.refuse(c.item)
			untried = true
		case known == nil && !seen[key]:
			untried = true
			seen[key] = true
			c.merit = s.merit(s.in.priceOf(c.candidate), c.used)
			pool = append(pool, c)
		}
	}
	slices.SortStableFunc(pool, func(a, b child) int { return cmp.Compare(b.merit, a.merit) })
	return pool, untried
}

// leastUsed is the share of a tolerance below which less is no merit: there a loss says more of the
// recordings than of the cut.
const leastUsed = 0.25

// merit is what a candidate saves of the price at the start per tolerance used. Bytes count a
// thousandth: it decides between equals.
func (s *search) merit(p price, used float64) float64 {
	start := s.cut.Points[0].price
	saved := start.share + start.excess - p.share - p.excess +
		(start.bytes-p.bytes)/start.bytes/1000
	return saved / math.Max(used, leastUsed)
}

// ScoreFeatures computes the scores of the features if the job gives none. It
// takes its time, once; progress may be nil.
func (in *Inputs) ScoreFeatures(progress func(done, all int)) {
	if in.Scores == nil && in.Computed == nil {
		in.Computed = prune.FeatureValues(in.Float, in.Selection,
			prune.Settings{Progress: progress})
	}
}

// Rank scores features (unless the job gives scores) and units.
func (in *Inputs) Rank() *Cut {
	cut := &Cut{Statistics: prune.MeasureStatistics(in.Float, in.Selection),
		FeatureScores: in.Scores}
	if cut.FeatureScores == nil {
		in.ScoreFeatures(nil)
		cut.FeatureScores = in.Computed.Scores
	}
	cut.UnitScores = prune.UnitEffects(in.Float, cut.Statistics.Means, in.Selection)
	cut.FeatureRank, cut.UnitRank = cut.FeatureScores.Ranking(), cut.UnitScores.Ranking()
	return cut
}
