package budget

import (
	"cmp"
	"slices"
)

// Frontier is what the search measured, and why the choice is what it is.
type Frontier struct {
	Objective  string // in words
	Uncut      []Cost // totals of the uncut network, in its widest words
	Stopped    bool   // the time that the job gives ended the search
	NotRounded int    // candidates for which the reason is that
	Cause      string // of that: OutOfTime or EnoughRounded
	Candidates []FrontierCandidate
	ByUnits    []UnitLoss
}

// FrontierCandidate is one measured candidate.
type FrontierCandidate struct {
	*Point
	LimitsUsed []float64 // per target the largest share of any limit; NaN without limits
	LeastFlash []float64 // per target, see [Inputs.leastFlash], in bytes
	Mean       float64   // what the search minimises, as a share: see price
	AboveUncut []Growth  // what it takes more of than the uncut network in the same words
	Bytes      float64   // flash of weights and front ends and RAM of the state: see price
	// no candidate measured in the same way loses no more, costs no more, and less of one
	OnFrontier bool
	Chosen     bool
	Verdict    Verdict
	Reason     Reason // it was not chosen; of no kind for the choice
}

// UnitLoss is the least that was lost with so many hidden units: the tightest row.
type UnitLoss struct {
	Units    int
	Features int
	Tightest Loss
}

// Frontier sums up a search. The choice is among the candidates, whatever was trained or
// narrowed after the search. Without a search there is none.
func (pl *Planner) Frontier(cut *Cut, chosen *Chosen) *Frontier {
	f := &Frontier{Objective: pl.prices.words, Uncut: pl.prices.costs, Stopped: cut.Stopped,
		Cause: chosen.NotRounded}
	if len(cut.Points) == 0 {
		return f
	}
	points, choice := cut.withChoice(pl, chosen)
	for _, p := range points {
		c := FrontierCandidate{
			Point: p, Mean: p.price.mean, Bytes: p.price.bytes, Chosen: p == choice,
			OnFrontier: !slices.ContainsFunc(points, p.dominatedBy),
		}
		for _, t := range pl.in.Targets {
			c.LimitsUsed = append(c.LimitsUsed, limitsUsed(p.Costs, t.Name))
			for _, row := range totals(p.Costs) {
				if row.Target == t.Name && row.Resource == Flash {
					c.LeastFlash = append(c.LeastFlash, pl.in.leastFlash(p.Candidate, row).Value)
				}
			}
		}
		if p.price.grown > 0 {
			c.AboveUncut = pl.in.aboveUncut(p.Candidate, p.Costs)
		}
		c.Verdict = p.verdict()
		if !c.Chosen {
			c.Reason = pl.reason(points, p, choice, chosen.NotRounded)
		}
		if c.Reason.Kind == NotRounded {
			f.NotRounded++
		}
		f.Candidates = append(f.Candidates, c)
	}
	f.ByUnits = byUnits(points)
	return f
}

// withChoice returns the points of a cut and that of the choice, which is a further one if what was
// chosen came after the search.
func (c *Cut) withChoice(pl *Planner, chosen *Chosen) (points []*Point, choice *Point) {
	from := c.Points[0]
	for _, p := range slices.Backward(c.Points) {
		isSameCut := p.Candidate.isSameCut(chosen.Candidate)
		if p.Fixed && p.Candidate.isSameNetwork(chosen.Candidate) &&
			p.Candidate.Formats.String() == chosen.Candidate.Formats.String() {
			return c.Points, p
		}
		if isSameCut {
			from = p
		}
	}
	change := rounded
	if chosen.Candidate.Recovered != nil {
		change = "trained and rounded"
	}
	choice = pl.roundedPoint(chosen, from, change)
	choice.ID = len(c.Points)
	return append(slices.Clip(c.Points), choice), choice
}

// dominatedBy reports whether q, measured in the same way, is as good everywhere and better
// somewhere; of equals the first is the better.
func (p *Point) dominatedBy(q *Point) bool {
	if p == q || p.Fixed != q.Fixed || q.Used > p.Used {
		return false
	}
	better := q.Used < p.Used
	costs := totals(q.Costs)
	for i, c := range totals(p.Costs) {
		if !slices.Contains(objectives, c.Resource) {
			continue
		}
		if costs[i].Value > c.Value {
			return false
		}
		better = better || costs[i].Value < c.Value
	}
	if len(p.Costs) == 0 {
		if q.price.bytes > p.price.bytes {
			return false
		}
		better = better || q.price.bytes < p.price.bytes
	}
	return better || q.ID < p.ID
}

func (p *Point) verdict() Verdict {
	switch {
	case !p.Within():
		return BreaksTolerance
	case p.price.broken > 0:
		return BreaksLimit
	case !p.Fixed:
		return FitsBeforeRounding
	}
	return Fits
}

// byUnits takes the candidate that uses least of the tolerances for every number of units.
func byUnits(points []*Point) []UnitLoss {
	best := map[int]*Point{}
	for _, p := range points {
		n := p.Candidate.UnitCount()
		if best[n] == nil || p.Used < best[n].Used {
			best[n] = p
		}
	}
	var all []UnitLoss
	for n, p := range best {
		all = append(all, UnitLoss{n, len(p.Candidate.Features), p.Tightest})
	}
	slices.SortFunc(all, func(a, b UnitLoss) int { return a.Units - b.Units })
	return all
}

// Near lists the choice, what it was made of, and what was tried beside it and beyond it: about as
// many as asked, the dearest first.
func (f *Frontier) Near(about int) []FrontierCandidate {
	at := slices.IndexFunc(f.Candidates, func(c FrontierCandidate) bool { return c.Chosen })
	if at < 0 {
		return nil
	}
	choice := f.Candidates[at]
	cut := choice.From // the candidate before rounding
	for cut != nil && cut.Fixed {
		cut = cut.From
	}
	var near []FrontierCandidate
	add := func(most int, is func(p *Point) bool) {
		var found []FrontierCandidate
		for _, c := range f.Candidates {
			if !slices.ContainsFunc(near, func(n FrontierCandidate) bool {
				return n.ID == c.ID
			}) && is(c.Point) {
				found = append(found, c)
			}
		}
		slices.SortStableFunc(found, func(a, b FrontierCandidate) int {
			return cmp.Compare(a.Used, b.Used)
		})
		near = append(near, found[:min(most, len(found), about-len(near))]...)
	}
	add(1, func(p *Point) bool { return p == choice.Point })
	add(1, func(p *Point) bool { return cut != nil && p == cut.From })
	add(about/4, func(p *Point) bool {
		return p.Fixed && p.Candidate.isSameCut(choice.Candidate)
	})
	add(about/2, func(p *Point) bool { return !p.Fixed && !p.takesSeveral() && p.From == cut })
	add(about, func(p *Point) bool {
		return !p.takesSeveral() && (p.Fixed || p.price.compare(choice.price) < 0)
	})
	slices.SortStableFunc(near, func(a, b FrontierCandidate) int {
		return b.price.compare(a.price)
	})
	return near
}
