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
	if column := s.column(r); column >= 0 {
		variance := 0.0
		for _, m := range s.moved(r, column) {
			variance += float64(m * m)
		}
		return math.Sqrt(variance)
	}
	return math.NaN() // no column says anything about the item
}

// decided is how many standard errors of their difference the shares of two items must lie apart
// for their order to count as decided: about 95 %.
const decided = 2

// Open lists groups of items that stand beside each other in the ranking and whose order the
// standard errors leave open, the least needed first: each item lies less than two standard errors
// of the difference from the next one. There are none where errors are not known.
func (s *Scores) Open() [][]string {
	var groups [][]string
	ranking := s.Ranking()
	joined := false
	for i := 1; i < len(ranking) && s.Deviations != nil; i++ {
		apart := s.apart(ranking[i-1], ranking[i])
		switch {
		case apart >= decided:
			joined = false
			continue
		case !joined:
			groups = append(groups, []string{ranking[i-1].Name})
			joined = true
		}
		groups[len(groups)-1] = append(groups[len(groups)-1], ranking[i].Name)
	}
	return groups
}

// lacking returns by how many times the number of draws must grow so that no order of neighbours is
// open: the largest square of what is asked over what is there.
func (s *Scores) lacking() float64 {
	most := 1.0
	ranking := s.Ranking()
	for i := 1; i < len(ranking); i++ {
		if apart := s.apart(ranking[i-1], ranking[i]); apart < decided {
			most = math.Max(most, decided*decided/float64(apart*apart))
		}
	}
	return most
}

// apart returns the difference of the shares of two ranked items in standard errors of it. Items
// that nothing moved are apart. Where both are shares of one column, one draw moves both; shares
// of two columns count as independent.
func (s *Scores) apart(a, b Ranked) float64 {
	difference := math.Abs(b.Share - a.Share)
	first, second := s.column(a), s.column(b)
	if first < 0 || second < 0 {
		return math.Inf(1)
	}
	variance := 0.0
	for _, moved := range [][]float64{s.moved(a, first), s.moved(b, second)} {
		for _, m := range moved {
			variance += float64(m * m)
		}
	}
	if first == second {
		of, with := s.moved(a, first), s.moved(b, second)
		for k := range of {
			variance -= float64(2 * of[k] * with[k])
		}
	}
	if variance <= 0 {
		return math.Inf(1)
	}
	return difference / math.Sqrt(variance)
}

// column returns the index of the column in which an item is ranked, -1 where no column says
// anything about it.
func (s *Scores) column(r Ranked) int {
	return slices.IndexFunc(s.Columns, func(c Column) bool {
		return c.Scenario == r.Scenario && c.Output == r.Output
	})
}

// moved returns how far each draw moves the share of an item in a column, to first order.
func (s *Scores) moved(r Ranked, column int) []float64 {
	var all []float64
	total := s.Columns[column].Total()
	for _, d := range s.Deviations[column] {
		moved := d[r.Item]
		for _, v := range d {
			moved -= float64(r.Share * v)
		}
		all = append(all, moved/total)
	}
	return all
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
