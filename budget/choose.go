package budget

import (
	"context"

	"kerf/dataset"
	"kerf/quant"
)

// Chosen is the candidate that goes to sign-off.
type Chosen struct {
	Candidate Candidate
	CutNet    *dataset.Float
	Fixed     *quant.Network
	Within    bool // the selection recordings are within every tolerance
	Tried     int  // how many cuts were brought to fixed point until the choice was final
	Roundings []RoundingResult
	Widths    []WidthStep // attempts to narrow single words
	Forced    []Forced    // words that are left wide, and the units that need them
	// when a tolerance is broken: what a wider word would give, each by itself
	Wider []WidthStep

	// why candidates that are cheaper were not brought to fixed point: OutOfTime or EnoughRounded;
	// empty: all were
	NotRounded string

	// on the selection recordings, of networks that were calibrated without the sequence they are
	// judged on
	heldOut *dataset.Score
	used    float64 // share of its tolerance that the tightest row may reach
}

// Tightest returns the judged row that uses most of its tolerance on the selection recordings.
func (c *Chosen) Tightest() Loss { return c.Roundings[c.roundingIndex()].Tightest }

// Choose adds the word widths to a cut. Of every number of units that may be cheaper than the best
// so far it brings the points to fixed point, each with every uniform choice of widths, the
// cheapest first by the objective of the job, until one is within every tolerance on the selection
// recordings, and narrows single words of that one, see [Planner.row]. Then it measures what the
// cheapest could lose beside it, and goes on as long as that makes something cheaper. If there is
// none within every tolerance, it takes the network as it began in the widest formats. Where the
// job says how many units there are to be, the row with so many is the choice. A cut in which
// nothing was searched has one network, [Cut.Given].
//
// What is measured on the way goes into the points of a cut that was searched. The error is that of
// ctx or of [quant.Quantize].
func (pl *Planner) Choose(ctx context.Context, cut *Cut) (*Chosen, error) {
	if len(cut.Points) == 0 {
		return pl.chooseFrom(ctx, unsearched(cut.Given))
	}
	t := pl.tableOf(cut)
	pl.table = t
	best, err := t.cheapest(ctx)
	if err != nil {
		return nil, err
	}
	t.best = best
	if counts := pl.in.Job.Units.Count; counts != nil {
		if best, err = t.row(ctx, counts); err != nil {
			return nil, err
		}
	}
	chosen, err := pl.withReasons(ctx, best.chosen, best.chooser.refused)
	if err != nil {
		return nil, err
	}
	chosen.Tried, chosen.NotRounded = t.rounded, t.notRounded
	cut.Path = cut.pathTo(chosen.Candidate)
	return chosen, nil
}

// chooseFrom makes the choice among the points of a cut and says why its words are as wide as they
// are.
func (pl *Planner) chooseFrom(ctx context.Context, cut *Cut) (*Chosen, error) {
	c, err := pl.choose(ctx, cut.Points, cut, nil)
	if err != nil {
		return nil, err
	}
	chosen, err := pl.withReasons(ctx, c.chosen(), c.refused)
	if err != nil {
		return nil, err
	}
	chosen.Tried, chosen.NotRounded = c.rounded, c.notRounded
	return chosen, nil
}

// withReasons says which units force the words that stay wide, or where a tolerance is broken what
// a wider word would give.
func (pl *Planner) withReasons(ctx context.Context, chosen *Chosen, refused []refusal) (*Chosen,
	error) {
	c := *chosen
	if !c.Within {
		return &c, pl.widen(ctx, &c)
	}
	return &c, pl.force(ctx, &c, refused)
}

// unsearched returns a cut with candidates that were not searched, the first of which is taken if
// none is within every tolerance.
func unsearched(candidates ...Candidate) *Cut {
	cut := &Cut{}
	for _, c := range candidates {
		cut.add(&Point{Candidate: c})
	}
	return cut
}

// mostRounded is how many cuts with one number of units are brought to fixed point, each with one
// choice of words. Our choice: none of the jobs of docs/search.md needs half as many, and rounding
// one costs as much as measuring several cuts.
const mostRounded = 24

// chooser looks for the cheapest network that stays within every tolerance in fixed point.
type chooser struct {
	pl      *Planner
	cut     *Cut            // that keeps what is measured
	first   *Point          // what is taken if none is within every tolerance
	search  *search         // whose time may end; nil: there was none
	formats []quant.Formats // uniform ones, the widest last
	options []option
	best    *trial // nil: none is within every tolerance yet
	refused []refusal
	widest  *Chosen            // of the first point in the widest words; nil: not tried
	cost    map[string]float64 // by words: the largest share of a tolerance that rounding has cost
	rounded int

	notRounded string // see [Chosen.NotRounded]
}

// option is a cut with words that it may be rounded to.
type option struct {
	from      *Point
	candidate Candidate
	price     price
	tried     bool
}

// trial is a network in fixed point that was measured.
type trial struct {
	chosen *Chosen
	point  *Point
	from   *trial // the same network with a wider word; nil: it was rounded with uniform words
	step   int    // the change from there: its place among the attempts to narrow
}

// choose looks for the cheapest network of some points; those that are measured on the way go into
// cut. search is the one whose time may end, or nil.
func (pl *Planner) choose(ctx context.Context, points []*Point, cut *Cut, s *search) (*chooser,
	error) {
	formats, err := pl.in.Job.Formats.candidates(pl.in.Float.Net)
	if err != nil {
		return nil, err
	}
	c := &chooser{pl: pl, cut: cut, first: points[0], search: s, formats: formats,
		cost: map[string]float64{}}
	return c, c.among(ctx, points)
}

// among goes on with further points.
func (c *chooser) among(ctx context.Context, points []*Point) error {
	c.offer(points)
	for o := c.next(); o != nil; o = c.next() {
		if err := c.round(ctx, o); err != nil {
			return err
		}
	}
	if c.best != nil || c.widest != nil {
		return nil
	}
	widest := c.first.Candidate
	widest.Formats = c.formats[len(c.formats)-1]
	return c.round(ctx, &option{from: c.first, candidate: widest})
}

// chosen is the cheapest network within every tolerance, or else the first in the widest words.
func (c *chooser) chosen() *Chosen {
	if c.best == nil {
		return c.widest
	}
	return c.best.chosen
}

// offer makes options of points.
func (c *chooser) offer(points []*Point) {
	for _, p := range points {
		if p.Fixed || !p.Within() {
			continue
		}
		for _, f := range c.formats {
			candidate := p.Candidate
			candidate.Formats = f
			price := c.pl.priceOf(candidate)
			c.options = append(c.options, option{from: p, candidate: candidate, price: price})
		}
	}
}

// next is the option to try next, of those that are cheaper than the choice: the likely ones first,
// and the cheapest of them. It is nil when the choice is final. Where the work must end, only the
// network that the search began with is left to be tried, and only while there is no choice.
func (c *chooser) next() *option {
	var next, startOnly *option
	nextLikely := false
	for i := range c.options {
		o := &c.options[i]
		if o.tried || c.best != nil && o.price.compare(c.best.point.price) >= 0 {
			continue
		}
		if o.from == c.first && (startOnly == nil || o.price.compare(startOnly.price) < 0) {
			startOnly = o
		}
		likely := c.likely(o)
		better := next == nil || o.price.compare(next.price) < 0
		if likely != nextLikely {
			better = likely || next == nil
		}
		if better {
			next, nextLikely = o, likely
		}
	}
	if next == nil {
		return nil
	}
	switch {
	case c.search.over():
		c.notRounded = OutOfTime
	case c.rounded >= mostRounded:
		c.notRounded = EnoughRounded
	default:
		return next
	}
	if c.best != nil {
		return nil
	}
	return startOnly
}

// likely reports whether an option may be within every tolerance. Rounding to the same words costs
// about the same share of the tolerances on all points of a job, so one is unlikely that leaves
// less than half of the most that this has cost.
func (c *chooser) likely(o *option) bool {
	cost := c.cost[o.candidate.Formats.String()]
	return o.from == c.first || o.from.Used <= 1-float64(cost/2)
}

// round tries an option, and takes it if it is within every tolerance and cheaper than the choice.
func (c *chooser) round(ctx context.Context, o *option) error {
	chosen, err := c.pl.try(ctx, o.candidate)
	if err != nil {
		return err
	}
	o.tried = true
	c.rounded++
	t := &trial{chosen: chosen, point: c.note(chosen, o.from, rounded)}
	words := o.candidate.Formats.String()
	c.cost[words] = max(c.cost[words], t.point.Used-o.from.Used)
	if o.from == c.first && words == c.formats[len(c.formats)-1].String() {
		c.widest = chosen
	}
	if !chosen.Within || c.best != nil && t.point.price.compare(c.best.point.price) >= 0 {
		return nil
	}
	c.best, c.refused, err = c.narrow(ctx, t)
	return err
}

// rounded is the change that makes an integer network of a cut.
const rounded = "brought to fixed point"

// roundedPoint makes a point of what was measured in fixed point, which a change made of another
// one.
func (pl *Planner) roundedPoint(chosen *Chosen, from *Point, change string) *Point {
	p := pl.point(chosen.Candidate, chosen.heldOut)
	p.From, p.Fixed, p.Change, p.Ways = from, true, change, len(chosen.Roundings)
	return p
}

// note keeps a point that was made of another one in fixed point.
func (c *chooser) note(chosen *Chosen, from *Point, change string) *Point {
	p := c.pl.roundedPoint(chosen, from, change)
	c.cut.add(p)
	return p
}

// flash is what weights, without what fills up groups and tiles, and front end of a candidate take;
// tables and code hardly differ. It decides between candidates that cost the same.
func (in *Inputs) flash(c Candidate) float64 {
	bytes := float64(in.Shape(c).UnfilledBytes())
	needed, _ := in.FrontEnds(c)
	for _, g := range needed {
		bytes += float64(g.Flash)
	}
	if n := in.integers(c); n != nil {
		bytes += frontTables(n, c)
	}
	return bytes
}
