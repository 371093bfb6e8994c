package budget

import (
	"context"

	"kerf/dataset"
)

// Point is one candidate that was measured on the selection recordings.
type Point struct {
	ID        int
	From      *Point   // what the change was made to; nil for the start
	Change    string   // in words
	Item      string   // what the change takes away; empty when it is about words
	Names     []string // of all that it takes away together
	Share     float64  // of the scores
	Candidate Candidate
	// the loss is that of the integer network; else that of the cut float network, and the words
	// only give the cost
	Fixed    bool
	Rows     []Loss  // that have a tolerance
	Tightest Loss    // the tightest row
	Used     float64 // the largest share of any tolerance that the sign-off recordings may show
	Costs    []Cost
	Ways     int // of rounding that were compared; 0 before rounding

	price price
}

// takesSeveral reports whether the change takes away several items at once.
func (p *Point) takesSeveral() bool { return len(p.Names) > 1 }

// isTrained reports whether the candidate went through recovery training.
func (p *Point) isTrained() bool { return p.Candidate.Recovered != nil }

// losses are what a point lost on the way, and what it could not lose.
type losses struct {
	refused map[string]bool // by key of the item
	bundles map[string]int  // by sort: so many items together were too many
}

// refuses reports whether a point, or one that it was made of, could not lose an item, or fewer of
// that sort together.
func (s *search) refuses(p *Point, i item) bool {
	many := max(len(i.features), len(i.units))
	for ; p != nil; p = p.From {
		l := s.lost[p]
		if limit := l.bundles[i.sort]; l.refused[i.key()] || len(i.names) > 1 && limit > 0 &&
			many >= limit {
			return true
		}
	}
	return false
}

// refuse notes that an item cannot go.
func (l *losses) refuse(i item) {
	l.refused[i.key()] = true
	if many := max(len(i.features), len(i.units)); len(i.names) > 1 &&
		(l.bundles[i.sort] == 0 || many < l.bundles[i.sort]) {
		l.bundles[i.sort] = many
	}
}

// Within reports whether every tolerance is kept, with the reserve for the sign-off.
func (p *Point) Within() bool { return p.Used <= 1 }

// point judges a candidate by its score on selection recordings.
func (pl *Planner) point(c Candidate, score *dataset.Score) *Point {
	j := pl.assess(score)
	p := &Point{Candidate: c, Rows: j.rows, Tightest: j.tightest, Used: j.used,
		Costs: pl.in.Costs(c)}
	p.price = pl.price(c, p.Costs)
	return p
}

// measure cuts candidates in full and measures them, one after the other: each uses all cores, and
// holds the states of all steps. The error is that of ctx.
func (s *search) measure(ctx context.Context, batch []child) ([]*Point, error) {
	statistics := s.pl.statistics()
	points := make([]*Point, len(batch))
	scores := make([]*dataset.Score, len(batch))
	for i := range batch {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		c := batch[i].candidate
		_, predicted := statistics.CutAndRun(c.Features, c.Units)
		scores[i] = s.pl.in.measured(predicted)
	}
	if err := dataset.InParallelUntil(ctx, len(batch), func(i int) {
		points[i] = s.pl.point(batch[i].candidate, scores[i])
	}); err != nil {
		return nil, err
	}
	for i, p := range points {
		c := batch[i]
		p.From, p.Change, p.Item, p.Names, p.Share = c.parent, c.change, c.item.sort, c.item.names,
			c.item.share
		s.lost[p] = &losses{refused: map[string]bool{}, bundles: map[string]int{}}
		s.known[p.Candidate.key()] = p
		s.cut.add(p)
	}
	return points, nil
}

// add numbers a point.
func (c *Cut) add(p *Point) {
	p.ID = len(c.Points)
	c.Points = append(c.Points, p)
}
