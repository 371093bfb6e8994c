package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"kerf/budget"
	"kerf/budget/cost"
)

// FrontierInfo holds every candidate that the search measured on selection recordings.
type FrontierInfo struct {
	Objective string `json:"objective"`
	// what the uncut network takes, in the words that shares of it refer to
	Uncut      []UncutRow     `json:"uncut,omitempty"`
	Stopped    bool           `json:"stopped"`     // by the time that the job gives
	NotRounded int            `json:"not_rounded"` // candidates with that reason
	Candidates []CandidateRow `json:"candidates"`
	Near       []int          `json:"near"` // ids of the candidates that the table shows
	// the least that was lost, by the number of hidden units
	ByUnits []UnitRow `json:"by_units"`
	// the other networks of the job, as they were trained
	Trained []TrainedRow `json:"trained,omitempty"`
}

// TrainedRow is a network that was trained with another number of units, brought to fixed point and
// measured on the selection recordings: a [budget.Size].
type TrainedRow struct {
	File     string `json:"file"` // its own float network is what its tolerances are relative to
	Units    int    `json:"units"`
	Features int    `json:"features"`
	Formats  string `json:"formats"`
	TightestRow
	MayReach *float64 `json:"may_reach"`
	// the largest share of any tolerance that the sign-off recordings may show; nil: it has no end
	ToleranceUsed *float64           `json:"tolerance_used"`
	Beside        *BesideRow         `json:"beside,omitempty"`
	Cost          []CandidateCostRow `json:"cost"`
}

// BesideRow is a [budget.Beside]: a network of another size against the float network of the job.
type BesideRow struct {
	Float string `json:"float"` // file of the float network of the job
	TightestRow
	Value     *float64           `json:"value"`      // of that row
	ValueHigh *float64           `json:"value_high"` // upper end of its 95 % interval
	Tolerance float64            `json:"tolerance"`
	On        budget.ToleranceOn `json:"tolerance_on"`
	NoWorse   bool               `json:"no_worse"` // by more than the tolerances
}

// CandidateRow is one measured candidate.
type CandidateRow struct {
	ID int `json:"id"`
	// that the change was made to; nil where it began
	From   *int   `json:"from"`
	Change string `json:"change"` // in words
	// front_end, channel, feature or unit; empty: it is about words
	Item     string   `json:"item,omitempty"`
	Names    []string `json:"names,omitempty"` // of what it takes away
	Features int      `json:"features"`
	Units    []int    `json:"units"` // kept, per recurrent layer
	// features, then units with "unit" before the name
	Removed []string `json:"removed"`
	Formats string   `json:"formats"`
	// "fixed": the integer network; "cut": the float network, and formats only give the cost
	Measured string          `json:"measured"`
	Rounding string          `json:"rounding"` // of the weights; empty before rounding
	Ways     int             `json:"ways"`     // of rounding that were compared for it
	Losses   []CandidateLoss `json:"losses"`
	TightestRow
	MayReach *float64 `json:"may_reach"`
	// the largest share of any tolerance that the sign-off recordings may show; nil: it has no end
	ToleranceUsed *float64 `json:"tolerance_used"`
	// the share that the search minimises
	ObjectiveUsed float64 `json:"objective_used"`
	// what it takes more of than the uncut network in the same words
	AboveUncut []GrowthRow        `json:"above_uncut,omitempty"`
	Bytes      float64            `json:"bytes"` // see docs/results.md
	Cost       []CandidateCostRow `json:"cost"`
	// among candidates measured in the same way
	OnFrontier bool           `json:"on_frontier"`
	Chosen     bool           `json:"chosen"`
	Verdict    budget.Verdict `json:"verdict"`
	Reason     string         `json:"reason"` // kind of the sentence
	Why        string         `json:"why"`    // it was not chosen
}

// UncutRow is what the whole network in its widest words takes on one target.
type UncutRow struct {
	Target string   `json:"target"`
	Flash  float64  `json:"flash"`
	RAM    float64  `json:"ram"`
	Cycles float64  `json:"cycles"`
	Energy *float64 `json:"energy"`
}

// GrowthRow is a resource of a target that a candidate takes more of than another network.
type GrowthRow struct {
	Target   string          `json:"target"`
	Resource budget.Resource `json:"resource"`
	Share    float64         `json:"share"` // of what the other takes
}

// CandidateLoss is one row of a candidate that has a tolerance: of [budget.Loss] what a search
// compares, with null for NaN.
type CandidateLoss struct {
	budget.RowName
	Rise          *float64           `json:"rise"`
	RiseHigh      *float64           `json:"rise_high"`
	Value         *float64           `json:"value"` // of the metric
	ValueHigh     *float64           `json:"value_high"`
	Sequences     int                `json:"sequences"`
	MayReach      *float64           `json:"may_reach"`       // on the sign-off recordings
	FloatMayReach *float64           `json:"float_may_reach"` // the network as given
	Tolerance     float64            `json:"tolerance"`
	On            budget.ToleranceOn `json:"tolerance_on"`
}

// CandidateCostRow is what a candidate takes on one target: the totals of its [budget.Cost] rows
// side by side.
type CandidateCostRow struct {
	Target     string            `json:"target"`
	Form       cost.Form         `json:"form"` // of the code that the figures are of
	Flash      float64           `json:"flash"`
	RAM        float64           `json:"ram"`
	Stack      float64           `json:"stack"`
	Cycles     float64           `json:"cycles"`
	StepTime   float64           `json:"step_time"`
	Energy     *float64          `json:"energy"`
	LimitsUsed *float64          `json:"limits_used"` // the largest share of any limit
	Broken     []budget.Resource `json:"broken"`      // resources whose limit is broken
	// of flash in the form of the code that takes least, by which room is compared; of candidates
	LeastFlash *float64 `json:"least_flash,omitempty"`
}

// UnitRow is the tightest row of the best candidate with so many units.
type UnitRow struct {
	Units    int      `json:"units"`
	Features int      `json:"features"`
	Rise     *float64 `json:"rise"`
	RiseLow  *float64 `json:"rise_low"`
	RiseHigh *float64 `json:"rise_high"`
	MayReach *float64 `json:"may_reach"`
	Output   string   `json:"output"`
	budget.Scope
}

// frontierInfo is made of a search; without one its lists are empty.
func frontierInfo(in *budget.Inputs, f *budget.Frontier) FrontierInfo {
	info := FrontierInfo{
		Objective: f.Objective, Stopped: f.Stopped, NotRounded: f.NotRounded,
		Candidates: []CandidateRow{}, Near: []int{}, ByUnits: []UnitRow{},
	}
	for _, c := range costsByTarget(f.Uncut) {
		info.Uncut = append(info.Uncut, UncutRow{c.Target, c.Flash, c.RAM, c.Cycles, c.Energy})
	}
	for _, c := range f.Candidates {
		info.Candidates = append(info.Candidates, candidateRow(in, c))
	}
	for _, c := range f.Near(shownNear) {
		info.Near = append(info.Near, c.ID)
	}
	for _, u := range f.ByUnits {
		info.ByUnits = append(info.ByUnits,
			UnitRow{u.Units, u.Features, Finite(u.Tightest.Rise), Finite(u.Tightest.RiseLow),
				Finite(u.Tightest.RiseHigh), Finite(u.Tightest.MayReach), u.Tightest.Output,
				u.Tightest.Scope})
	}
	return info
}

// trainedRow is made of one network of another size.
func trainedRow(z budget.Size) TrainedRow {
	row := TrainedRow{File: z.File, Units: z.Units, Features: len(z.Candidate.Features),
		Formats: z.Candidate.Formats.String(), TightestRow: newTightestRow(z.Tightest),
		MayReach: Finite(z.Tightest.MayReach), ToleranceUsed: Finite(z.Used),
		Cost: costsByTarget(z.Costs)}
	if b := z.Beside; b != nil {
		value, high := b.Tightest.JudgedValue()
		row.Beside = &BesideRow{Float: b.File, TightestRow: newTightestRow(b.Tightest),
			Value: Finite(value), ValueHigh: Finite(high), Tolerance: b.Tightest.Tolerance,
			On: b.Tightest.On(), NoWorse: b.Met}
	}
	return row
}

// candidateRow is made of one candidate.
func candidateRow(in *budget.Inputs, c budget.FrontierCandidate) CandidateRow {
	row := CandidateRow{
		ID: c.ID, Change: c.Change, Item: c.Item, Names: c.Names, Ways: c.Ways, Measured: "cut",
		Features: len(c.Candidate.Features), Formats: c.Candidate.Formats.String(),
		Losses: []CandidateLoss{}, TightestRow: newTightestRow(c.Tightest),
		MayReach: Finite(c.Tightest.MayReach), ToleranceUsed: Finite(c.Used),
		ObjectiveUsed: c.Mean,
		Bytes:         c.Bytes, Cost: candidateCosts(c),
		OnFrontier: c.OnFrontier, Chosen: c.Chosen, Verdict: c.Verdict, Reason: c.Reason.Kind,
	}
	if c.Fixed {
		row.Measured, row.Rounding = "fixed", c.Candidate.Rounding.String()
	} else {
		row.Formats += ", before rounding"
	}
	if !c.Chosen {
		row.Why = c.Reason.String()
	}
	if c.From != nil {
		row.From = &c.From.ID
	}
	for _, g := range c.AboveUncut {
		row.AboveUncut = append(row.AboveUncut, GrowthRow{g.Target, g.Resource, g.Share})
	}
	for _, units := range c.Candidate.Units {
		row.Units = append(row.Units, len(units))
	}
	row.Removed = append([]string{}, in.DroppedFeatures(c.Candidate)...)
	for _, name := range in.DroppedUnits(c.Candidate) {
		row.Removed = append(row.Removed, "unit "+name)
	}
	for _, l := range c.Rows {
		row.Losses = append(row.Losses, candidateLoss(l))
	}
	return row
}

// candidateLoss is made of one judged row of a candidate.
func candidateLoss(l budget.Loss) CandidateLoss {
	return CandidateLoss{
		RowName: l.RowName, Rise: Finite(l.Rise), RiseHigh: Finite(l.RiseHigh),
		Value: Finite(l.Fixed), ValueHigh: valueHigh(l), Sequences: l.Sequences,
		MayReach: Finite(l.MayReach), FloatMayReach: Finite(l.FloatMayReach),
		Tolerance: l.Tolerance, On: l.On(),
	}
}

// valueHigh returns the upper end of the interval of a metric as a tolerance on its value has it;
// nil where there is no interval.
func valueHigh(l budget.Loss) *float64 {
	l.Relative = false
	_, high := l.JudgedValue()
	return Finite(high)
}

// candidateCosts returns a row per target.
func candidateCosts(c budget.FrontierCandidate) []CandidateCostRow {
	rows := costsByTarget(c.Costs)
	for i := range rows {
		rows[i].LimitsUsed, rows[i].LeastFlash = Finite(c.LimitsUsed[i]), &c.LeastFlash[i]
	}
	return rows
}

// costsByTarget puts the totals of each target side by side.
func costsByTarget(costs []budget.Cost) []CandidateCostRow {
	rows := []CandidateCostRow{}
	for _, c := range costs {
		if len(rows) == 0 || rows[len(rows)-1].Target != c.Target {
			rows = append(rows, CandidateCostRow{Target: c.Target, Form: c.Form,
				Broken: []budget.Resource{}})
		}
		if c.Part != budget.Total {
			continue
		}
		row := &rows[len(rows)-1]
		if c.Verdict == budget.Fail {
			row.Broken = append(row.Broken, c.Resource)
		}
		switch c.Resource {
		case budget.Flash:
			row.Flash = c.Value
		case budget.RAM:
			row.RAM = c.Value
		case budget.Stack:
			row.Stack = c.Value
		case budget.StepTime:
			row.StepTime = c.Value
		case budget.Cycles:
			row.Cycles = c.Value
		case budget.Energy:
			row.Energy = Finite(c.Value)
		}
	}
	return rows
}

// shownNear is how many candidates the table of the frontier shows. Our choice.
const shownNear = 8

// FrontierTables have the choice, the candidates that it was made of, and those that were refused
// beside it, then what each of them takes on every target, and what was trained. There are none
// without a search.
func (s *Signoff) FrontierTables() []Table {
	near := s.nearCandidates()
	if len(near) == 0 {
		return nil
	}
	t := Table{Title: "What else was measured near the choice, on selection recordings",
		Head: []string{"no.", "change", "F", "U", "used", "cost", "outcome"}, Numbers: 2, Words: 1}
	for _, c := range near {
		units := make([]string, len(c.Units))
		for l, n := range c.Units {
			units[l] = strconv.Itoa(n)
		}
		t.Rows = append(t.Rows, []string{
			strconv.Itoa(c.ID), c.Change, strconv.Itoa(c.Features), strings.Join(units, "+"),
			UsedPercent(c.ToleranceUsed), Percent(c.ObjectiveUsed), c.outcome(),
		})
	}
	tables := []Table{t}
	for i, target := range near[0].Cost {
		tables = append(tables, costsOnTarget(near, i, target.Target))
	}
	if len(s.Attempts) > 0 {
		tables = append(tables, s.AttemptTable())
	}
	return tables
}

// nearCandidates are the candidates that the tables show.
func (s *Signoff) nearCandidates() []CandidateRow {
	var near []CandidateRow
	for _, id := range s.Frontier.Near {
		i := slices.IndexFunc(s.Frontier.Candidates, func(c CandidateRow) bool {
			return c.ID == id
		})
		if i >= 0 { // else of a signoff.json that others wrote
			near = append(near, s.Frontier.Candidates[i])
		}
	}
	return near
}

// costsOnTarget shows what candidates take on the target at a place among their costs; without
// energy where it is not known.
func costsOnTarget(near []CandidateRow, at int, target string) Table {
	t := Table{Title: "What these candidates take, by number", Numbers: 1,
		Head: []string{target, "flash, B", "RAM, B", "cycles", "energy"}}
	for _, c := range near {
		if at >= len(c.Cost) {
			continue // of a signoff.json that others wrote
		}
		cost := c.Cost[at]
		energy := Optional(cost.Energy, func(v float64) string { return Quantity(v, "J") })
		t.Rows = append(t.Rows, []string{strconv.Itoa(c.ID), grouped(cost.Flash),
			grouped(cost.RAM), grouped(cost.Cycles), energy})
	}
	energy := len(t.Head) - 1
	if !slices.ContainsFunc(t.Rows, func(row []string) bool { return row[energy] != "" }) {
		t.Head = t.Head[:energy]
		for i := range t.Rows {
			t.Rows[i] = t.Rows[i][:energy]
		}
	}
	return t
}

// outcome says in few words why a candidate was not chosen, or that it was.
func (c CandidateRow) outcome() string {
	switch {
	case c.Chosen:
		return "chosen"
	case c.Verdict == budget.BreaksTolerance:
		return "breaks " + c.TightestText()
	}
	return c.Why
}

// FrontierLegend explains the columns of the tables of the frontier; empty without them.
func (s *Signoff) FrontierLegend() string {
	if len(s.Frontier.Near) == 0 {
		return s.AttemptLegend()
	}
	legend := fmt.Sprintf("The search measured %s and minimises: %s (column cost). used: the "+
		"largest share of any tolerance that the sign-off recordings may show. F, U: features "+
		"and units that stay. What is rounded, or has other words, ran in fixed point, the "+
		"others as float networks.", Plural(len(s.Frontier.Candidates), "candidate"),
		s.Frontier.Objective) + s.GivenBreaks()
	if more := s.AttemptLegend(); more != "" {
		legend += " " + more
	}
	return legend
}

// mostNamed is how many rows a sentence names. Our choice.
const mostNamed = 3

// GivenBreaks says, as a sentence behind others, of which rows the network as given itself may
// break the tolerance on the selection recordings, and what the search takes for the tolerance
// there; empty where there are none.
func (s *Signoff) GivenBreaks() string {
	var names []string
	for _, c := range s.Frontier.Candidates {
		for _, l := range c.Losses {
			if c.Chosen && l.GivenBreaks() {
				names = append(names, l.Text())
			}
		}
	}
	if len(names) == 0 {
		return ""
	}
	text := strings.Join(names[:min(mostNamed, len(names))], ", ")
	if more := len(names) - mostNamed; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return " " + GivenBreaksSentence(text)
}

// GivenBreaksSentence says that the network as given may break the named rows itself, and what that
// means for the shares beside it.
func GivenBreaksSentence(rows string) string {
	return "The network as given itself may break " + rows + ": there the search takes what that " +
		"network may reach, and 1 % more, for the tolerance, and used is a share of it."
}

// GivenBreaks is [budget.Loss.GivenBreaks] for a row of a candidate; false where it is not known
// what the network as given may reach.
func (l *CandidateLoss) GivenBreaks() bool {
	return l.FloatMayReach != nil && budget.Loss{RowName: l.RowName, Tolerance: l.Tolerance,
		FloatMayReach: *l.FloatMayReach}.GivenBreaks()
}
