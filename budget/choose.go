package budget

import (
	"slices"

	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
)

// Chosen is the candidate that goes to sign-off.
type Chosen struct {
	Candidate Candidate
	CutNet    *dataset.Float
	Recovered *Recovered // nil: no recovery training
	Fixed     *quant.Network
	Within    bool // the selection recordings are within every tolerance
	Roundings []RoundingResult
	Widths    []WidthStep // attempts to narrow single words
	Forced    []Forced    // words that are left wide, and the units that need them
	Wider     []WidthStep // when a tolerance is broken: what a wider word would give, each by itself

	heldOut *dataset.Score // of networks that were calibrated without the sequence they are judged on
	used    float64        // share of its tolerance that the tightest row may reach
	beside  []widthTrial   // what narrow tried on the way
}

// Tightest is the row with the least room on the selection recordings, and what it
// may reach.
func (c *Chosen) Tightest() (Loss, float64) {
	r := c.Roundings[c.roundingIndex()]
	return r.Tightest, r.MayReach
}

// Choose adds the word widths to a cut. For each uniform choice of widths it goes through the
// points that were found, the cheapest first by the objective of the job, until the fixed-point network is
// within every tolerance on the selection recordings. From the cheapest of
// all it narrows single words. If there is none, it takes the network as it began
// in the widest formats.
//
// Rounding costs about the same share of the tolerances on all points of a job. So a point is
// passed over when it leaves less than half of the most that rounding has cost so far.
func (in *Inputs) Choose(cut *Cut) (*Chosen, error) {
	if len(cut.Points) == 0 {
		return in.ChooseFormats(cut.Statistics, in.start(quant.Formats{}))
	}
	formats, err := in.Job.Formats.candidates(in.Float.Net)
	if err != nil {
		return nil, err
	}
	c := &chooser{in: in, cut: cut}
	for _, f := range formats {
		if err := c.among(f); err != nil {
			return nil, err
		}
	}
	if c.best == nil {
		widest := cut.Points[0].Candidate
		widest.Formats = formats[len(formats)-1]
		chosen, err := in.try(cut.Statistics, widest)
		if err != nil {
			return nil, err
		}
		cut.note(in, chosen, cut.Points[0], rounded)
		cut.Path = cut.pathTo(widest)
		return chosen, in.widen(cut.Statistics, chosen)
	}
	chosen, err := in.narrow(cut.Statistics, c.best)
	if err != nil {
		return nil, err
	}
	for _, tried := range chosen.beside {
		cut.note(in, tried.chosen, c.rounded, tried.change)
	}
	cut.search.beside(c.from)
	cut.Path = cut.pathTo(chosen.Candidate)
	return chosen, nil
}

// chooser looks for the cheapest point that stays within every tolerance in fixed point.
type chooser struct {
	in            *Inputs
	cut           *Cut
	best          *Chosen
	price         price
	from, rounded *Point // of best, before and after rounding
	way           *quant.Rounding
	cost          float64 // the most that rounding has cost, as a share of the tolerances
}

// among goes through the points with one choice of words.
func (c *chooser) among(f quant.Formats) error {
	type priced struct {
		*Point
		candidate Candidate
		price     price
	}
	var points []priced
	for _, p := range c.cut.Points {
		if p.Within() && !p.Fixed {
			candidate := p.Candidate
			candidate.Formats = f
			points = append(points, priced{p, candidate, c.in.priceOf(candidate)})
		}
	}
	slices.SortStableFunc(points, func(a, b priced) int { return a.price.compare(b.price) })
	for _, p := range points {
		if c.best != nil && p.price.compare(c.price) >= 0 {
			return nil
		}
		if p.Used > 1-float64(c.cost/2) && p.From != nil {
			continue
		}
		chosen, err := c.try(p.candidate)
		if err != nil {
			return err
		}
		fixed := c.cut.note(c.in, chosen, p.Point, rounded)
		c.cost = max(c.cost, fixed.Used-p.Used)
		if chosen.Within {
			c.best, c.price, c.from, c.rounded = chosen, p.price, p.Point, fixed
			return nil
		}
	}
	return nil
}

// try brings a candidate to fixed point with the way of rounding that suited the first, and where that
// is within every tolerance with the best of all ways.
func (c *chooser) try(candidate Candidate) (*Chosen, error) {
	if c.way != nil {
		chosen, err := c.in.tryWays(c.in.prepare(c.cut.Statistics, candidate), candidate, []quant.Rounding{*c.way})
		if err != nil || !chosen.Within {
			return chosen, err
		}
	}
	chosen, err := c.in.try(c.cut.Statistics, candidate)
	if err == nil {
		c.way = &chosen.Candidate.Rounding
	}
	return chosen, err
}

// rounded is the change that makes an integer network of a cut.
const rounded = "rounded"

// note keeps what was measured in fixed point as a point, which a change made of another one.
func (c *Cut) note(in *Inputs, chosen *Chosen, from *Point, change string) *Point {
	p := in.point(chosen.Candidate, chosen.heldOut)
	p.From, p.Fixed, p.Change = from, true, change
	c.add(p)
	return p
}

// ChooseFormats adds the word widths to given features and units: the cheapest
// with which the fixed-point network is within every tolerance
// on the selection recordings, or else the widest that the job allows.
func (in *Inputs) ChooseFormats(statistics *prune.Statistics, c Candidate) (*Chosen, error) {
	return in.cheapest(statistics, []Candidate{c})
}

// cheapest searches points × formats. Points come with falling cost.
func (in *Inputs) cheapest(statistics *prune.Statistics, points []Candidate) (*Chosen, error) {
	formats, err := in.Job.Formats.candidates(in.Float.Net)
	if err != nil {
		return nil, err
	}
	var best, last *Chosen
	var least price
	for _, f := range formats {
		for i := len(points) - 1; i >= 0; i-- {
			c := points[i]
			c.Formats = f
			price := in.priceOf(c)
			if best != nil && price.compare(least) >= 0 {
				continue
			}
			if last, err = in.try(statistics, c); err != nil {
				return nil, err
			}
			if last.Within {
				best, least = last, price
				break
			}
		}
	}
	if best == nil {
		return last, in.widen(statistics, last)
	}
	return in.narrow(statistics, best)
}

// brokenLimits counts the limits that a candidate breaks on all targets.
func (in *Inputs) brokenLimits(c Candidate) int {
	broken := 0
	for _, cost := range in.Costs(c) {
		if cost.Verdict == Fail {
			broken++
		}
	}
	return broken
}

// flash is what weights and front end of a candidate take; tables and code hardly differ.
func (in *Inputs) flash(c Candidate) float64 {
	bytes := float64(in.Shape(c).WeightBytes())
	needed, _ := in.FrontEnds(c)
	for _, g := range needed {
		bytes += float64(g.Flash)
	}
	return bytes
}
