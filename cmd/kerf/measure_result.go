package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/targets/measure"
)

// measurement is what kerf measure shows.
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
	// cycles of the longest step that the search found; at least MaxCycles
	Found      float64        `json:"found_cycles"`
	Searched   int            `json:"searched_steps"`
	CyclesFrom string         `json:"cycles_from"`
	Tools      []measure.Tool `json:"tools"`
	times      string         // in words: how far the time of a step depends on the data
}

// measuredRow compares one figure with its estimate.
type measuredRow struct {
	Resource budget.Resource `json:"resource"`
	// "network", "painted" (of the stack), a part that computes features from samples, or "total"
	// with all of them, the declared front end and flash wait states
	Part     string      `json:"part"`
	Unit     string      `json:"unit"`
	Measured float64     `json:"measured"`
	Kind     budget.Kind `json:"kind"`
	// null for a target that the handoff was not made for
	Estimate     *float64       `json:"estimate"`
	EstimateKind budget.Kind    `json:"estimate_kind"`
	Difference   *float64       `json:"difference"` // measured less estimate
	Limit        *float64       `json:"limit"`
	Verdict      budget.Verdict `json:"verdict"`
}

// paintedPart is the part of the stack that a step changed, found by painting the stack first.
const paintedPart = "painted"

// compareWithEstimate lists the figures of a target beside their estimates. optimise holds the
// flags of the compiler; empty: those of the profile.
func compareWithEstimate(s subject, r *measure.Result, optimise string) measuredTarget {
	found := s.measured(r, cmp.Or(optimise, s.profile.Optimise))
	m := measuredTarget{Target: s.target, Profile: s.profile.Name, Optimise: found.Optimise,
		Steps: found.Times.Steps, MinCycles: found.Times.Least, MeanCycles: found.Times.Mean,
		MaxCycles: found.Times.Most, Found: found.Cycles, Searched: found.Times.Searched,
		CyclesFrom: found.CyclesFrom, Tools: r.Tools, times: found.Times.Text}
	for _, c := range found.Beside(s.estimate) {
		row := measuredRow{Resource: c.Resource, Part: c.Part, Unit: c.Unit, Measured: c.Value,
			Kind: c.Kind, Estimate: report.Finite(c.Estimate),
			EstimateKind: c.Estimated, Difference: report.Finite(c.Value - c.Estimate),
			Limit: report.Finite(c.Limit), Verdict: c.Verdict}
		if c.Estimated == budget.NotEstimated { // it is for other flags
			row.Estimate, row.Difference = nil, nil
		}
		m.Rows = append(m.Rows, row)
		if c.Resource == budget.Stack {
			m.Rows = append(m.Rows, measuredRow{Resource: c.Resource, Part: paintedPart,
				Unit: c.Unit, Measured: float64(r.StackPainted), Kind: budget.Measured})
		}
	}
	return m
}

// isBroken reports whether a measured value is above a limit of the job, or cannot be judged.
func (m *measurement) isBroken() bool {
	for _, t := range m.Targets {
		for _, r := range t.Rows {
			if r.Verdict == budget.Fail || r.Verdict == budget.NoEstimate {
				return true
			}
		}
	}
	return false
}

// tables returns a table for each target.
func (m *measurement) tables() []report.Table {
	var tables []report.Table
	for _, t := range m.Targets {
		tables = append(tables, t.table(m.title(t)))
	}
	return tables
}

// title returns the title of the table of a target.
func (m *measurement) title(t measuredTarget) string {
	return fmt.Sprintf("%s at %s on %s", m.Name, t.Optimise, t.Target)
}

// text prints below each table the tools that measured, and below all the legend.
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
const measuredLegend = "estimate: as in the sign-off, for the flags of the profile; none where " +
	"the job names others. flash and RAM: what the network adds to a linked program, one state included. " +
	"stack: the deepest chain of calls by the compiler's account; painted: what the deepest " +
	"step changed. " +
	"cycles: of the longest step that was found, without flash wait states. in all: with the " +
	"front end and the flash wait states of the job. The device decides."

// table makes a row for each figure; without estimates it has two columns.
func (t *measuredTarget) table(title string) report.Table {
	out := report.Table{Title: title, Head: []string{t.Profile, "measured"}, Numbers: 1}
	hasEstimate := t.Rows[0].EstimateKind != ""
	if hasEstimate {
		out.Head, out.Words = []string{t.Profile, "estimate", "measured", "differs", "limit",
			"estimate is", "verdict"}, 2
	}
	for _, r := range t.Rows {
		name := report.Spaced(r.Resource)
		switch r.Part {
		case budget.Total:
			if t.hasParts(r.Resource) {
				name += " in all"
			}
		case budget.NetworkPart:
		default: // such as painted
			name += ", " + report.Spaced(r.Part)
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
				string(r.EstimateKind), string(r.Verdict)}
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}

// hasParts reports whether a resource has rows besides its total.
func (t *measuredTarget) hasParts(resource budget.Resource) bool {
	return slices.ContainsFunc(t.Rows, func(r measuredRow) bool {
		return r.Resource == resource && r.Part != budget.Total && r.Part != paintedPart
	})
}

// differs returns by how many per cent the measured value is above or below the estimate.
func (r *measuredRow) differs() string {
	switch {
	case r.Estimate == nil || *r.Estimate == 0:
		return ""
	case *r.Difference == 0:
		return "0 %"
	}
	return fmt.Sprintf("%+.1f %%", 100**r.Difference / *r.Estimate)
}

// origin returns a sentence about the tools that measured, and how far the time of a step depends
// on the data.
func (t *measuredTarget) origin() string {
	var tools []string
	for _, tool := range t.Tools {
		tools = append(tools, tool.Name+" "+tool.Version)
	}
	return fmt.Sprintf("Measured with %s; %s (%s).", strings.Join(tools, ", "), t.times,
		t.CyclesFrom)
}
