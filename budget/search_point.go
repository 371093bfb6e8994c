package budget

import "kerf/dataset"

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
	Rows     []Loss // that have a tolerance
	Tightest Loss   // the row with the least room
	MayReach float64
	Used     float64 // the largest share of any tolerance that the sign-off recordings may show
	Costs    []Cost
	Ways     int // of rounding that were compared; 0 before rounding

	price     price
	recovered bool            // it was trained
	several   bool            // the change takes away several items at once
	refused   map[string]bool // what this candidate could not lose, by key
	bundles   map[string]int  // by sort: so many items together were too many
	gone      int             // features and units that were taken away on the way here
}

// refuses tells whether this point, or one that it was made of, could not lose an item, or fewer of
// that sort together.
func (p *Point) refuses(i item) bool {
	many := max(len(i.features), len(i.units))
	for ; p != nil; p = p.From {
		if limit := p.bundles[i.sort]; p.refused[i.key()] || len(i.names) > 1 && limit > 0 &&
			many >= limit {
			return true
		}
	}
	return false
}

// refuse notes that a point cannot lose an item.
func (p *Point) refuse(i item) {
	p.refused[i.key()] = true
	if many := max(len(i.features), len(i.units)); len(i.names) > 1 &&
		(p.bundles[i.sort] == 0 || many < p.bundles[i.sort]) {
		p.bundles[i.sort] = many
	}
}

// Within tells whether every tolerance is kept, with the reserve for the sign-off.
func (p *Point) Within() bool { return p.Used <= 1 }

// point judges a candidate by its score on selection recordings.
func (in *Inputs) point(c Candidate, score *dataset.Score) *Point {
	j := in.assess(score)
	p := &Point{Candidate: c, Rows: j.rows, Tightest: j.tightest, MayReach: j.mayReach,
		Used: j.used, Costs: in.Costs(c)}
	p.price = in.price(c, p.Costs)
	return p
}

// measure cuts candidates in full and measures them, side by side.
func (s *search) measure(batch []child) []*Point {
	in := s.in
	in.floatReach() // before the cores share it
	in.pricing()
	points := make([]*Point, len(batch))
	dataset.InParallel(len(batch), func(i int) {
		c := batch[i].candidate
		_, predicted := s.cut.Statistics.CutAndRun(c.Features, c.Units)
		points[i] = in.point(c, in.measured(predicted))
	})
	for i, p := range points {
		c := batch[i]
		p.From, p.Change, p.Item, p.Names, p.Share, p.several = c.parent, c.change, c.item.sort,
			c.item.names, c.item.share, len(c.item.names) > 1
		p.refused, p.bundles = map[string]bool{}, map[string]int{}
		if c.parent != nil {
			p.gone = c.parent.gone + max(len(c.item.features), len(c.item.units))
		}
		s.known[cutKey(p.Candidate)] = p
		s.cut.add(p)
	}
	return points
}

// add numbers a point.
func (c *Cut) add(p *Point) {
	p.ID = len(c.Points)
	c.Points = append(c.Points, p)
}
