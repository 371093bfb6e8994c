package report

import (
	"cmp"
	"math"
	"slices"

	"kerf/budget"
	"kerf/dataset"
)

// JudgedRow is a row of the accuracy or of the cost that has a verdict, as short tables show it.
type JudgedRow struct {
	Name    string   // as kerf explain takes it
	Metric  string   // with its unit; empty for a row of the cost
	Row     string   // the name in full: with the metric behind it
	Unit    string   // of Given and Value; empty for a row of the cost
	Given   string   // of the network as given, or uncut
	Value   string   // of the integer network
	UpTo    string   // what the limit is compared with: a value, or an end of its interval
	IsRise  bool     // UpTo and Limit are of the rise of an error
	Limit   string   // the limit or tolerance
	Used    *float64 // share of the limit or tolerance that UpTo takes; nil where there is none
	Kind    budget.Kind
	Verdict budget.Verdict
}

// JudgedLoss returns the judged rows of the accuracy, the tightest first, and rows that do not pass
// before all others.
func (s *Signoff) JudgedLoss() []JudgedRow {
	var rows []JudgedRow
	for _, l := range s.Loss {
		if l.Verdict != "" {
			rows = append(rows, judgedLoss(&l))
		}
	}
	return tightestFirst(rows)
}

// judgedLoss is made of a row of the accuracy.
func judgedLoss(l *LossRow) JudgedRow {
	show := l.show()
	if l.Sequences == 0 {
		show = func(float64) string { return "" } // nothing was measured
	}
	upTo := l.upTo() // empty without an interval, as of one sequence
	if l.Metric == dataset.MaxError {
		upTo = show(l.Fixed) // judged as it is
	}
	return JudgedRow{Name: l.PlaceText(), Metric: l.metricAndUnit(),
		Row: l.Text(), Unit: l.Unit,
		Given: show(l.Float), Value: show(l.Fixed), UpTo: upTo,
		IsRise: l.ToleranceOn == budget.OnRise && !l.Metric.IsShare(), Limit: l.limit(),
		Used: l.Used(), Kind: l.Kind, Verdict: l.Verdict}
}

// JudgedCost returns the rows of the cost that have a limit, in the order of [Signoff.JudgedLoss].
func (s *Signoff) JudgedCost() []JudgedRow {
	var rows []JudgedRow
	for _, c := range s.Cost {
		if c.Verdict != "" {
			rows = append(rows, s.judgedCost(&c))
		}
	}
	return tightestFirst(rows)
}

// judgedCost is made of a row of the cost.
func (s *Signoff) judgedCost(c *CostRow) JudgedRow {
	value := c.ShownValue()
	return JudgedRow{Name: budget.CostText(c.Target, c.Resource),
		Row:   budget.CostText(c.Target, c.Resource),
		Given: c.shownBefore(s), Value: value, UpTo: value, Limit: c.limit(),
		Used: c.Used(), Kind: c.Kind, Verdict: c.Verdict}
}

// UnjudgedLoss returns the first row of every output, over all recordings, for jobs without a
// tolerance.
func (s *Signoff) UnjudgedLoss() []JudgedRow {
	var rows []JudgedRow
	for i, l := range s.Loss {
		if i == 0 || s.Loss[i-1].Output != l.Output {
			rows = append(rows, judgedLoss(&l))
			rows[len(rows)-1].UpTo = l.change()
		}
	}
	return rows
}

// UnjudgedCost returns flash, RAM and cycles of every target, for jobs without a limit.
func (s *Signoff) UnjudgedCost() []JudgedRow {
	var rows []JudgedRow
	for _, target := range s.TargetNames() {
		for _, resource := range []budget.Resource{budget.Flash, budget.RAM, budget.Cycles} {
			if c := s.Total(target, resource); c != nil {
				rows = append(rows, s.judgedCost(c))
			}
		}
	}
	return rows
}

// JudgedRows returns the rows of [Signoff.JudgedLoss] and [Signoff.JudgedCost] in one list of the
// same order.
func (s *Signoff) JudgedRows() []JudgedRow {
	return tightestFirst(append(s.JudgedLoss(), s.JudgedCost()...))
}

// tightestFirst sorts rows by verdict, then by the share of the limit that they use.
func tightestFirst(rows []JudgedRow) []JudgedRow {
	used := func(r JudgedRow) float64 {
		if r.Used == nil {
			return math.Inf(1)
		}
		return *r.Used
	}
	slices.SortStableFunc(rows, func(a, b JudgedRow) int {
		return cmp.Or(cmp.Compare(verdictRank(a.Verdict), verdictRank(b.Verdict)),
			cmp.Compare(used(b), used(a)))
	})
	return rows
}

// Used is the share of the tolerance that the figure takes which is compared with it, an upper end
// of an interval for most metrics; nil where there is none. Above 1 the tolerance is not met. An
// error that became smaller uses none.
func (l *LossRow) Used() *float64 {
	if l.Tolerance == nil {
		return nil
	}
	row := l.judged()
	_, high := row.JudgedValue()
	if high <= 0 {
		return Finite(0)
	}
	return Finite(high / row.Allowed())
}

// Used is the share of the limit that the value takes: of a least value the limit over the value.
// It is nil where there is no limit, and where the limit cannot be judged.
func (c *CostRow) Used() *float64 {
	cost := budget.Cost{Value: c.Value, Limit: number(c.Limit), AtLeast: c.AtLeast}
	switch {
	case c.Verdict == budget.NoEstimate:
		return nil
	case c.Known != nil:
		cost.Value = *c.Known
	}
	return Finite(cost.Used())
}
