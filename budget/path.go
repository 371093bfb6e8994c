package budget

import (
	"slices"

	"kerf/prune"
)

// PathStep is one change on the way to a candidate, or one that was refused.
type PathStep struct {
	Item      string // FrontEndItem, ChannelItem, FeatureItem or UnitItem
	Features  []int  // features of the trained network that go
	Units     []prune.Unit
	Names     []string // of all that goes together
	Share     float64  // of the score, in its worst case; of a front end the sum over its features
	Taken     bool     // false: it stays, because Tightest breaks its tolerance
	Tightest  Loss     // the tightest judged row, on selection recordings
	Candidate Candidate
	Costs     []Cost // of Candidate
}

// pathTo lists what was taken away on the way to a cut, and then what every candidate on that way
// could not lose. Where the integer network of a refused candidate was measured, that is what
// counts.
func (c *Cut) pathTo(end Candidate) []PathStep {
	at := slices.IndexFunc(c.Points, func(p *Point) bool {
		return !p.Fixed && p.Candidate.isSameCut(end)
	})
	if at < 0 {
		return nil
	}
	var trail []*Point
	for p := c.Points[at]; p != nil; p = p.From {
		trail = append(trail, p)
	}
	slices.Reverse(trail)
	var path []PathStep
	for _, p := range trail[1:] {
		path = append(path, p.step(true))
	}
	listed := map[string]bool{}
	for _, before := range slices.Backward(trail) {
		for _, p := range c.Points {
			step, broken := p.step(false), p
			if p.From != before || p.Fixed || p.takesSeveral() || slices.Contains(trail, p) {
				continue
			}
			key := itemKey(step.Item, step.Names)
			if listed[key] {
				continue
			}
			if _, ok := without(end, step); !ok {
				continue
			}
			if after := roundedAs(c.Points, p); after != nil {
				broken = after
			}
			if broken.Within() {
				continue // its cost speaks against it, not its loss
			}
			step.Tightest = broken.Tightest
			listed[key] = true
			path = append(path, step)
		}
	}
	return path
}

func (p *Point) step(taken bool) PathStep {
	step := PathStep{Item: p.Item, Names: p.Names, Share: p.Share, Taken: taken,
		Tightest: p.Tightest, Candidate: p.Candidate, Costs: p.Costs}
	if p.From == nil {
		return step
	}
	for _, k := range p.From.Candidate.Features {
		if !slices.Contains(p.Candidate.Features, k) {
			step.Features = append(step.Features, k)
		}
	}
	for l, units := range p.From.Candidate.Units {
		for _, j := range units {
			if !slices.Contains(p.Candidate.Units[l], j) {
				step.Units = append(step.Units, prune.Unit{Layer: l, Index: j})
			}
		}
	}
	return step
}

// without takes what a step takes out of a candidate, see [item.without].
func without(c Candidate, step PathStep) (smaller Candidate, ok bool) {
	return item{features: step.Features, units: step.Units}.without(c)
}
