package budget

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"kerf/prune"
)

// table has the networks of a search by their numbers of units: what plan chooses from, and what
// kerf units shows.
type table struct {
	pl   *Planner
	cut  *Cut
	rows map[string]*row // by the numbers of units, printed
	best *row            // what [table.cheapest] found

	search     *search // of the cut; nil: it is of another planner
	rounded    int     // cuts that were brought to fixed point
	notRounded string  // see [Chosen.NotRounded]
}

// row is the cheapest network with given numbers of units, in fixed point; where none is within
// every tolerance, the one that uses least of them before rounding, in the widest words.
type row struct {
	chooser *chooser
	chosen  *Chosen
	price   price
	from    *Point // that was brought to fixed point
	points  int    // of the search with these numbers of units when the row was made
}

// tableOf returns the table of a search that no row has been made of yet.
func (pl *Planner) tableOf(cut *Cut) *table {
	t := &table{pl: pl, cut: cut, rows: map[string]*row{}, search: pl.search}
	if t.search != nil && t.search.cut != cut {
		t.search = nil
	}
	return t
}

// countsOf returns the numbers of units of a candidate, per recurrent layer.
func countsOf(c Candidate) []int { return unitCounts(c.Units) }

// unitCounts returns how many units stay of every recurrent layer.
func unitCounts(kept [][]int) []int {
	counts := make([]int, len(kept))
	for l, units := range kept {
		counts[l] = len(units)
	}
	return counts
}

// with lists the points of the search with given numbers of units, before rounding.
func (t *table) with(counts []int) []*Point {
	var points []*Point
	for _, p := range t.cut.Points {
		if !p.Fixed && slices.Equal(countsOf(p.Candidate), counts) {
			points = append(points, p)
		}
	}
	return points
}

// row makes the row with given numbers of units, of all points that the search has of it. Where it
// has none, the units that are least needed go, with the features of the cheapest point and with
// all.
func (t *table) row(ctx context.Context, counts []int) (*row, error) {
	key := fmt.Sprint(counts)
	points := t.with(counts)
	if len(points) == 0 {
		if err := t.fill(ctx, counts); err != nil {
			return nil, err
		}
		points = t.with(counts)
	}
	r := t.rows[key]
	if r != nil && r.points == len(points) {
		return r, nil
	}
	var err error
	rounded := 0
	if r == nil {
		r = &row{}
		some := slices.Clone(points)
		slices.SortStableFunc(some, func(a, b *Point) int { return cmp.Compare(a.Used, b.Used) })
		r.chooser, err = t.pl.choose(ctx, some, t.cut, t.search)
	} else {
		rounded = r.chooser.rounded
		err = r.chooser.among(ctx, points[r.points:])
	}
	if err != nil {
		return nil, err
	}
	t.rounded += r.chooser.rounded - rounded
	if r.chooser.notRounded != "" {
		t.notRounded = r.chooser.notRounded
	}
	r.points, r.chosen = len(points), r.chooser.chosen()
	r.price = t.pl.priceOf(r.chosen.Candidate)
	for _, p := range points {
		if p.Candidate.isSameCut(r.chosen.Candidate) {
			r.from = p
		}
	}
	t.rows[key] = r
	return r, nil
}

// fill measures cuts with numbers of units that the search passed by.
func (t *table) fill(ctx context.Context, counts []int) error {
	if t.search == nil {
		return nil
	}
	start := t.cut.Points[0]
	var batch []child
	for _, features := range [][]int{t.search.cheapest().Candidate.Features,
		start.Candidate.Features} {
		c, err := t.pl.withUnits(features, counts, t.cut)
		if err != nil {
			return err
		}
		if t.search.known[c.key()] == nil && (len(batch) == 0 ||
			batch[0].candidate.key() != c.key()) {
			batch = append(batch, child{parent: start, change: "the least needed units and " +
				"features out", candidate: c})
		}
	}
	_, err := t.search.measure(ctx, batch)
	return err
}

// withUnits returns a candidate with given features and numbers of units: the units that are least
// needed go one by one, by their score times the root of the variance that what stays does not
// predict.
func (pl *Planner) withUnits(features, counts []int, cut *Cut) (Candidate, error) {
	share := map[prune.Unit]float64{}
	units := prune.Units(pl.in.Float.Net)
	for _, r := range cut.UnitRank {
		share[units[r.Item]] = r.Share
	}
	c := pl.in.start(cut.Given.Formats)
	c.Features = features
	for {
		done := true
		for l := range c.Units {
			if len(c.Units[l]) <= counts[l] {
				continue
			}
			_, unexplained := pl.statistics().Unexplained(c.Features, c.Units)
			next, least := -1, math.Inf(1)
			for at, j := range c.Units[l] {
				u := prune.Unit{Layer: l, Index: j}
				if v := share[u] * math.Sqrt(unexplained[l][at]); v < least &&
					!pl.in.pins.keepUnit[u] {
					next, least = at, v
				}
			}
			if next < 0 {
				continue // the rest is to be kept
			}
			done = false
			c.Units = slices.Clone(c.Units)
			c.Units[l] = slices.Delete(slices.Clone(c.Units[l]), next, next+1)
		}
		if done {
			return c, nil
		}
	}
}

// cheapest returns the row within every tolerance that costs least. Rows that cannot be cheaper as
// listed are not made. Where no row is within every tolerance it is that of the network as the
// search began.
func (t *table) cheapest(ctx context.Context) (*row, error) {
	var beside *Point // whose neighbours were measured last
	for {
		best, err := t.cheapestOfSearch(ctx)
		if err != nil {
			return nil, err
		}
		if best == nil {
			return t.row(ctx, countsOf(t.cut.Points[0].Candidate))
		}
		if best.from == beside || t.search == nil || t.search.over() {
			return best, nil
		}
		beside = best.from
		if err := t.search.beside(ctx, beside); err != nil {
			return nil, err
		}
	}
}

// cheapestOfSearch is cheapest for the points that there are; nil where no row is within every
// tolerance.
func (t *table) cheapestOfSearch(ctx context.Context) (*row, error) {
	var best *row
	type listed struct {
		counts []int
		price  price
	}
	var all []listed
	for _, p := range t.cut.Points {
		if p.Fixed || !p.Within() {
			continue
		}
		l := listed{countsOf(p.Candidate), t.pl.cheapestListed(p.Candidate)}
		at := slices.IndexFunc(all, func(o listed) bool { return slices.Equal(o.counts, l.counts) })
		switch {
		case at < 0:
			all = append(all, l)
		case l.price.compare(all[at].price) < 0:
			all[at] = l
		}
	}
	slices.SortStableFunc(all, func(a, b listed) int { return a.price.compare(b.price) })
	for _, l := range all {
		if best != nil && l.price.compare(best.price) >= 0 {
			break
		}
		r, err := t.row(ctx, l.counts)
		if err != nil {
			return nil, err
		}
		if r.chosen.Within && (best == nil || r.price.compare(best.price) < 0) {
			best = r
		}
	}
	return best, nil
}

// cheapestListed is what a candidate costs in the uniform words that cost least.
func (pl *Planner) cheapestListed(c Candidate) price {
	return pl.priceOf(pl.inCheapestWords(c))
}

// inCheapestWords returns a candidate in the uniform words that cost least.
func (pl *Planner) inCheapestWords(c Candidate) Candidate {
	formats, _ := pl.in.Job.Formats.candidates(pl.in.Float.Net) // checked when the job was read
	best := c
	for i, f := range formats {
		c.Formats = f
		if i == 0 || pl.priceOf(c).compare(pl.priceOf(best)) < 0 {
			best = c
		}
	}
	return best
}
