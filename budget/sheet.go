package budget

import (
	"cmp"
	"math"

	"kerf/budget/cost"
)

// part is one addend of a resource.
type part struct {
	name  string
	value float64
	kind  Kind
}

// sheet gathers the rows of one target.
type sheet struct {
	target Target
	rows   []Cost
}

// add adds a resource: its parts, where there are several, and their total, which
// the limit (NaN: none) is compared with. It returns the total.
func (s *sheet) add(resource Resource, unit string, limit float64, parts ...part) float64 {
	row := s.row(resource, unit, Total)
	row.Kind, row.Limit = Exact, limit
	for _, p := range parts {
		row.Value += p.value
		if p.kind != NotEstimated {
			row.Known += p.value
		}
		row.Kind = weaker(row.Kind, p.kind)
		if len(parts) > 1 {
			single := s.row(resource, unit, p.name)
			single.Value, single.Kind = p.value, p.kind
			s.rows = append(s.rows, single)
		}
	}
	s.rows = append(s.rows, row.judged())
	return row.Value
}

// addAtLeast adds a figure that has to reach a limit.
func (s *sheet) addAtLeast(resource Resource, unit string, limit, value float64, kind Kind) {
	row := s.row(resource, unit, Total)
	row.Value, row.Kind, row.Limit, row.AtLeast = value, kind, limit, true
	s.rows = append(s.rows, row.judged())
}

// last is the row that was added last.
func (s *sheet) last() Cost { return s.rows[len(s.rows)-1] }

func (s *sheet) row(resource Resource, unit, part string) Cost {
	return Cost{Target: s.target.Name, Profile: s.target.Core.Name,
		Form: cmp.Or(s.target.Code, cost.Fast), Resource: resource, Part: part, Unit: unit,
		Estimate: math.NaN(), Limit: math.NaN()}
}

// judged gives a row its verdict, if it has a limit.
func (c Cost) judged() Cost {
	switch {
	case math.IsNaN(c.Limit):
	case c.Kind == NotEstimated && c.Known > c.Limit && !c.AtLeast:
		c.Verdict = Fail
	case c.Kind == NotEstimated:
		c.Verdict = NoEstimate
	case c.Value > c.Limit && !c.AtLeast, c.Value < c.Limit && c.AtLeast:
		c.Verdict = Fail
	default:
		c.Verdict = Pass
	}
	return c
}
