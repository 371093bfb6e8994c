package prune

import (
	"math"
	"slices"
	"sort"

	"kerf/portable"
)

// Groups adds up the scores of items that share an owner, such as the channel or the kind of a
// feature, in the order in which owners first appear; owner has one name per item. Magnitudes add
// up, although effects may cancel: [GroupValues] has the exact figure.
func (s *Scores) Groups(owner []string) *Scores {
	g := &Scores{}
	for _, name := range owner {
		if !slices.Contains(g.Items, name) {
			g.Items = append(g.Items, name)
		}
	}
	place := index(g.Items)
	for c, column := range s.Columns {
		sum := Column{Scenario: column.Scenario, Output: column.Output,
			Values: make([]float64, len(g.Items))}
		for i, v := range column.Values {
			sum.Values[place[owner[i]]] += v
		}
		g.Columns = append(g.Columns, sum)
		if s.Deviations != nil {
			deviations := make([][]float64, len(s.Deviations[c]))
			for k, d := range s.Deviations[c] {
				deviations[k] = make([]float64, len(g.Items))
				for i, v := range d {
					deviations[k][place[owner[i]]] += v
				}
			}
			g.Deviations = append(g.Deviations, deviations)
		}
	}
	return g
}

// Total returns the sum of a column, in the unit of its output.
func (c Column) Total() float64 {
	sum := 0.0
	for _, v := range c.Values {
		sum += v
	}
	return sum
}

// Finest lists the columns of which no other column covers a part.
func (s *Scores) Finest() []Column {
	var columns []Column
	for _, c := range s.Columns {
		if !s.hasFiner(c) {
			columns = append(columns, c)
		}
	}
	return columns
}

// Scenarios lists the scenarios of the finest columns.
func (s *Scores) Scenarios() []string {
	var names []string
	for _, c := range s.Finest() {
		if !slices.Contains(names, c.Scenario) {
			names = append(names, c.Scenario)
		}
	}
	return names
}

// In returns the finest columns of one scenario.
func (s *Scores) In(scenario string) *Scores {
	kept := &Scores{Items: s.Items}
	for i, c := range s.Columns {
		if c.Scenario == scenario && !s.hasFiner(c) {
			kept.Columns = append(kept.Columns, c)
			if s.Deviations != nil {
				kept.Deviations = append(kept.Deviations, s.Deviations[i])
			}
		}
	}
	return kept
}

// Shares returns the worst cases of all items as [Scores.Ranking] does, in the order of Items.
func (s *Scores) Shares() []Ranked {
	shares := s.Ranking()
	sort.Slice(shares, func(a, b int) bool { return shares[a].Item < shares[b].Item })
	return shares
}

// ShareError returns the standard error of the share of a ranked item, to first order: the
// deviation of score / sum when a draw moves both. It is NaN where the error is not known.
func (s *Scores) ShareError(r Ranked) float64 {
	if s.Deviations == nil {
		return math.NaN()
	}
	for c, column := range s.Columns {
		if column.Scenario == r.Scenario && column.Output == r.Output {
			variance := 0.0
			for _, d := range s.Deviations[c] {
				moved := d[r.Item]
				for _, v := range d {
					moved -= float64(r.Share * v)
				}
				variance += float64(moved * moved)
			}
			return math.Sqrt(variance) / column.Total()
		}
	}
	return math.NaN() // no column says anything about the item
}

// Agreement compares the rankings of the scenarios.
type Agreement struct {
	Scenarios []string
	// Correlation is Spearman's rank correlation [scenarios × scenarios]; NaN where a scenario
	// ranks nothing.
	Correlation [][]float64
	Moves       []Move // one per item, the furthest first
}

// Move says how far an item moves between the rankings of two scenarios. Rank 1 is the most needed;
// equal items share the mean of their ranks.
type Move struct {
	Item            int // index into Scores.Items
	Name            string
	Highest, Lowest float64 // ranks
	HighestIn       string  // scenario in which the item is most needed
	LowestIn        string  // scenario in which it is least needed
}

// Agree ranks the items in every scenario, by their share for the output that needs them most, and
// compares the rankings.
func (s *Scores) Agree() Agreement {
	a := Agreement{Scenarios: s.Scenarios()}
	var all [][]float64
	for _, scenario := range a.Scenarios {
		var shares []float64
		for _, r := range s.In(scenario).Shares() {
			shares = append(shares, -r.Share)
		}
		all = append(all, ranks(shares))
	}
	for _, x := range all {
		row := make([]float64, len(all))
		for j, y := range all {
			row[j] = portable.Correlation(x, y)
		}
		a.Correlation = append(a.Correlation, row)
	}
	for i, name := range s.Items {
		m := Move{Item: i, Name: name, Highest: math.Inf(1), Lowest: math.Inf(-1)}
		for k, scenario := range a.Scenarios {
			if r := all[k][i]; r < m.Highest {
				m.Highest, m.HighestIn = r, scenario
			}
			if r := all[k][i]; r > m.Lowest {
				m.Lowest, m.LowestIn = r, scenario
			}
		}
		a.Moves = append(a.Moves, m)
	}
	sort.SliceStable(a.Moves, func(i, j int) bool {
		return a.Moves[i].Lowest-a.Moves[i].Highest > a.Moves[j].Lowest-a.Moves[j].Highest
	})
	return a
}

// ranks numbers values from 1, the smallest first; equal values share the mean of their numbers, so
// that the correlation of ranks is Spearman's.
func ranks(values []float64) []float64 {
	order := count(len(values))
	sort.SliceStable(order, func(a, b int) bool { return values[order[a]] < values[order[b]] })
	ranks := make([]float64, len(values))
	for first := 0; first < len(order); {
		end := first + 1
		for end < len(order) && values[order[end]] == values[order[first]] {
			end++
		}
		for _, i := range order[first:end] {
			ranks[i] = float64(first+1+end) / 2
		}
		first = end
	}
	return ranks
}

// LittleShare is the share of the scores below which a channel or a kind is named as little needed,
// for those who build or compute it (common practice, no source).
const LittleShare = 0.05

// Little lists the groups whose share lies below [LittleShare] in every scenario and for every
// output, the smallest first; where standard errors are known, with two of them on top.
func (s *Scores) Little() []Ranked {
	var little []Ranked
	for _, r := range s.Ranking() {
		share := r.Share
		if e := s.ShareError(r); !math.IsNaN(e) {
			share += 2 * e
		}
		if share < LittleShare {
			little = append(little, r)
		}
	}
	return little
}
