package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/targets/measure"
)

// measurement is the result of kerf measure; text and JSON are made from it.
type measurement struct {
	Name    string           `json:"name"`
	Kerf    string           `json:"kerf"` // version
	Targets []measuredTarget `json:"targets"`
}

// measuredTarget is what was measured on one target.
type measuredTarget struct {
	Target     string        `json:"target"`
	Profile    string        `json:"profile"`
	Optimise   string        `json:"optimise"` // compiler flags
	Rows       []measuredRow `json:"rows"`
	Steps      int           `json:"steps"`
	MinCycles  float64       `json:"min_cycles"`
	MeanCycles float64       `json:"mean_cycles"`
	MaxCycles  float64       `json:"max_cycles"`
	// of the longest step that the search found; at least MaxCycles
	Found      float64        `json:"found_cycles"`
	Searched   int            `json:"searched_steps"`
	CyclesFrom string         `json:"cycles_from"`
	Tools      []measure.Tool `json:"tools"`
	times      string         // how far the time of a step depends on the data
}

// measuredRow compares one figure with its estimate.
type measuredRow struct {
	Resource string `json:"resource"`
	// Part is what the figure is of: "network", "painted" (of the stack), or "total" with the
	// declared front end and flash wait states.
	Part         string   `json:"part"`
	Unit         string   `json:"unit"`
	Measured     float64  `json:"measured"`
	Kind         string   `json:"kind"`
	Estimate     *float64 `json:"estimate"` // null for a target that the handoff was not made for
	EstimateKind string   `json:"estimate_kind"`
	Difference   *float64 `json:"difference"` // measured less estimate
	Limit        *float64 `json:"limit"`
	Verdict      string   `json:"verdict"`
}

// Parts of a resource in measuredRow.
const (
	networkPart  = "network"
	paintedPart  = "painted"
	frontEndPart = "front_end"
	waitPart     = "flash_wait"
)

// compareWithEstimate lists the figures of a target beside their estimates.
func compareWithEstimate(s subject, r *measure.Result) measuredTarget {
	m := measuredTarget{Target: s.target, Profile: s.profile.Name, Steps: len(r.Cycles),
		MinCycles: r.MinCycles(), MeanCycles: r.MeanCycles(), MaxCycles: r.MaxCycles(),
		Found: r.Longest.Cycles, Searched: r.Longest.Steps, CyclesFrom: r.CyclesFrom,
		Tools: r.Tools, times: r.StepTimes()}
	m.add(s, budget.Flash, "B", float64(r.Flash))
	m.add(s, budget.RAM, "B", float64(r.RAM))
	m.add(s, budget.Stack, "B", float64(r.StackChain))
	m.Rows = append(m.Rows, measuredRow{Resource: budget.Stack, Part: paintedPart, Unit: "B",
		Measured: float64(r.StackPainted), Kind: string(budget.Measured)})
	m.add(s, budget.Cycles, "cycles", m.Found)
	if clock := s.clock(); clock > 0 {
		m.add(s, budget.StepTime, "s", m.Found/clock)
	}
	return m
}

// add adds the row of the network, and where the estimate has more than what was measured (the
// front end that the job declares, flash wait states) the row of both. A limit is on the total.
func (m *measuredTarget) add(s subject, resource, unit string, measured float64) {
	row := measuredRow{Resource: resource, Part: networkPart, Unit: unit, Measured: measured,
		Kind: string(budget.Measured)}
	total := s.find(resource, budget.Total)
	if total == nil {
		m.Rows = append(m.Rows, row)
		return
	}
	beside := s.beside(resource)
	row.against(total.Value-beside, s.networkKind(total))
	if beside != 0 {
		m.Rows = append(m.Rows, row)
		row.Part = budget.Total
		row.Measured += beside
		row.Kind = string(budget.Estimated) // a sum has the kind of its weakest part
		row.against(total.Value, total.Kind)
	}
	if row.Limit = total.Limit; row.Limit != nil {
		row.Verdict = budget.Pass
		if row.Measured > *row.Limit {
			row.Verdict = budget.Fail
		}
	}
	m.Rows = append(m.Rows, row)
}

func (r *measuredRow) against(estimate float64, kind string) {
	difference := r.Measured - estimate
	r.Estimate, r.EstimateKind, r.Difference = &estimate, kind, &difference
}

// find is the row of the estimate, nil if there is none.
func (s subject) find(resource, part string) *report.CostRow {
	for i, c := range s.estimate {
		if c.Resource == resource && c.Part == part {
			return &s.estimate[i]
		}
	}
	return nil
}

// networkKind is the kind of an estimate without the front end: that of its weakest part.
func (s subject) networkKind(total *report.CostRow) string {
	fromStrong := []budget.Kind{budget.Exact, budget.Measured, budget.Bounded, budget.Estimated}
	weakest := -1
	for _, c := range s.estimate {
		if c.Resource == total.Resource && c.Part != budget.Total && c.Part != frontEndPart &&
			c.Part != waitPart {
			weakest = max(weakest, slices.Index(fromStrong, budget.Kind(c.Kind)))
		}
	}
	if weakest < 0 {
		return total.Kind
	}
	return string(fromStrong[weakest])
}

// clock of the target in Hz, as its estimates have it; 0 without them.
func (s subject) clock() float64 {
	cycles, time := s.find(budget.Cycles, budget.Total), s.find(budget.StepTime, budget.Total)
	if cycles == nil || time == nil || time.Value == 0 {
		return 0
	}
	return cycles.Value / time.Value
}

// beside is what the estimate has that no emulated core shows: the front end and flash wait states.
func (s subject) beside(resource string) float64 {
	if resource == budget.StepTime {
		if clock := s.clock(); clock > 0 {
			return s.beside(budget.Cycles) / clock
		}
		return 0
	}
	sum := 0.0
	for _, part := range []string{frontEndPart, waitPart} {
		if c := s.find(resource, part); c != nil {
			sum += c.Value
		}
	}
	return sum
}

func (m *measurement) isBroken() bool {
	for _, t := range m.Targets {
		for _, r := range t.Rows {
			if r.Verdict == budget.Fail {
				return true
			}
		}
	}
	return false
}

// tables has one table per target.
func (m *measurement) tables() []report.Table {
	var tables []report.Table
	for _, t := range m.Targets {
		tables = append(tables, t.table(m.title(t)))
	}
	return tables
}

func (m *measurement) title(t measuredTarget) string {
	return fmt.Sprintf("%s at %s on %s", m.Name, t.Optimise, t.Target)
}

// text says below each table what measured.
func (m *measurement) text(w io.Writer, p page) error {
	for i, t := range m.Targets {
		if i > 0 {
			fmt.Fprintln(w)
		}
		if err := p.printTexts(w, []report.Table{t.table(m.title(t))}); err != nil {
			return err
		}
		fmt.Fprintf(w, "\n%s\n", p.wrap(t.origin(), 2))
	}
	_, err := fmt.Fprintf(w, "\n%s\n", p.wrap(measuredLegend, 0))
	return err
}

// measuredLegend explains the columns.
const measuredLegend = "estimate: as in the sign-off, for the flags of the profile. flash and " +
	"RAM: what the network adds to a linked program, one state included. " +
	"stack: the deepest chain of calls by the compiler's account; painted: what the deepest " +
	"step changed. " +
	"cycles: of the longest step that was found, without flash wait states. in all: with the " +
	"front end and the flash wait states of the job. The device decides."

// table has a row per figure.
func (t *measuredTarget) table(title string) report.Table {
	out := report.Table{Title: title, Head: []string{t.Profile, "measured"}, Numbers: 1}
	hasEstimate := t.Rows[0].Estimate != nil
	if hasEstimate {
		out.Head, out.Words = []string{t.Profile, "estimate", "measured", "differs", "limit",
			"estimate is", "verdict"}, 2
	}
	for _, r := range t.Rows {
		name := strings.ReplaceAll(r.Resource, "_", " ")
		switch r.Part {
		case budget.Total:
			name += " in all"
		case paintedPart:
			name += ", painted"
		}
		shown := func(v *float64) string {
			if v == nil {
				return ""
			}
			return report.Quantity(*v, r.Unit)
		}
		row := []string{name, shown(&r.Measured)}
		if hasEstimate {
			row = []string{name, shown(r.Estimate), shown(&r.Measured), r.differs(), shown(r.Limit),
				r.EstimateKind, r.Verdict}
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}

// differs is by how much the measured value is above or below the estimate.
func (r *measuredRow) differs() string {
	switch {
	case r.Estimate == nil || *r.Estimate == 0:
		return ""
	case *r.Difference == 0:
		return "0 %"
	}
	return fmt.Sprintf("%+.1f %%", 100**r.Difference / *r.Estimate)
}

// origin says what measured, and how far the time of a step depends on the data.
func (t *measuredTarget) origin() string {
	var tools []string
	for _, tool := range t.Tools {
		tools = append(tools, tool.Name+" "+tool.Version)
	}
	return fmt.Sprintf("Measured with %s; %s (%s).", strings.Join(tools, ", "), t.times,
		t.CyclesFrom)
}
