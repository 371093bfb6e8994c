package report

import (
	"fmt"
	"slices"

	"kerf/budget"
	"kerf/budget/cost"
	"kerf/exporter/emit"
)

// CostRow is one row of the cost table: a [budget.Cost] with null for NaN, the same
// cost before the cut, the margin and the line of the job that set the limit.
type CostRow struct {
	Target   string          `json:"target"`
	Profile  string          `json:"profile"`
	Resource budget.Resource `json:"resource"`
	Part     string          `json:"part"`
	Value    float64         `json:"value"`
	Before   float64         `json:"before"` // the same for the whole network in its widest formats
	Unit     string          `json:"unit"`
	Kind     budget.Kind     `json:"kind"`
	// beside a value that was measured, or of which a part was
	Estimate     *float64    `json:"estimate,omitempty"`
	EstimateKind budget.Kind `json:"estimate_kind,omitempty"`
	Limit        *float64    `json:"limit"`
	AtLeast      bool        `json:"at_least,omitempty"` // the limit is a least value
	// file, line and key of the job, or the profile; empty without a limit
	From    string         `json:"limit_from"`
	Margin  *float64       `json:"margin"`
	Verdict budget.Verdict `json:"verdict"`
	// the compiler and its options that the value holds for; empty where it is the same for all,
	// and in a file of an older kerf
	Compiler string `json:"compiler,omitempty"`
	// where there is no estimate for the compiler that the job names: the part of the value that is
	// the same for all; the rest of it holds for the compiler of the estimates
	Known *float64 `json:"known,omitempty"`
}

// MeasuredInfo says how the figures of a target were measured: a [budget.Measurement] without the
// figures that stand in the cost table.
type MeasuredInfo struct {
	Target     string     `json:"target"`
	Tools      []ToolInfo `json:"tools"`
	Optimise   string     `json:"optimise"` // flags of the compiler
	Steps      int        `json:"steps"`    // on drawn inputs
	MinCycles  float64    `json:"min_cycles"`
	MeanCycles float64    `json:"mean_cycles"`
	MaxCycles  float64    `json:"max_cycles"`
	Found      float64    `json:"found_cycles"` // of the longest step that a search found
	Searched   int        `json:"searched_steps"`
	CyclesFrom string     `json:"cycles_from"`
}

// ToolInfo is a program that took part in a measurement.
type ToolInfo struct {
	Name    string `json:"name"`
	Version string `json:"version"`
}

// measuredInfo is made of the measurement of one target.
func measuredInfo(m budget.Measurement) MeasuredInfo {
	info := MeasuredInfo{Target: m.Target, Optimise: m.Optimise, Steps: m.Times.Steps,
		MinCycles: m.Times.Least, MeanCycles: m.Times.Mean, MaxCycles: m.Times.Most,
		Found: m.Cycles, Searched: m.Times.Searched, CyclesFrom: m.CyclesFrom}
	for i, name := range m.ToolNames {
		info.Tools = append(info.Tools, ToolInfo{name, m.ToolVersion[i]})
	}
	return info
}

// targetRows are rows of which each is about one target.
type targetRows struct {
	title string
	what  string   // the column that names a row of a target
	head  []string // the columns behind it
	words int      // of them, at the end
	rows  []targetRow
	// behind the title of a table of one target; may be nil
	conditions func(target string) string
}

// targetRow is one row about a target.
type targetRow struct {
	target   string
	cells    []string // the name of the row in front
	compiler string   // that the row holds for; may be empty
}

// add adds a row; its first cell names it among those of its target.
func (r *targetRows) add(target string, cells ...string) {
	r.rows = append(r.rows, targetRow{target: target, cells: cells})
}

// CompilerHead is the head of the column of compilers with their options.
const CompilerHead = "compiler"

// table has all rows, with their target in front, and where rows hold for a compiler that behind.
func (r *targetRows) table() Table {
	t := Table{Title: r.title, Head: append([]string{"target", r.what}, r.head...), Numbers: 2,
		Words: r.words}
	hasCompilers := slices.ContainsFunc(r.rows, func(row targetRow) bool {
		return row.compiler != ""
	})
	if hasCompilers {
		t.Head, t.Words = append(t.Head, CompilerHead), t.Words+1
	}
	for _, row := range r.rows {
		cells := append([]string{row.target}, row.cells...)
		if hasCompilers {
			cells = append(cells, row.compiler)
		}
		t.Rows = append(t.Rows, cells)
	}
	return t
}

// tables has a table per target, whose name heads it.
func (r *targetRows) tables() []Table {
	var all []Table
	for i, row := range r.rows {
		if i == 0 || r.rows[i-1].target != row.target {
			title := r.title
			if r.conditions != nil {
				title += r.conditions(row.target)
			}
			all = append(all, Table{Title: title, Head: append([]string{row.target}, r.head...),
				Numbers: 1, Words: r.words})
		}
		t := &all[len(all)-1]
		t.Rows = append(t.Rows, row.cells)
	}
	return all
}

// CostTables has the totals in a table per target. With parts, tables show as well what the totals
// are made of, what the choice frees, and what the weights take in RAM where that matters.
func (s *Signoff) CostTables(parts bool) []Table {
	tables := s.costRows(parts).tables()
	if parts {
		tables = slices.Concat(tables, s.freedRows().tables(), s.placementRows().tables(),
			s.formRows().tables())
	}
	return tables
}

// costRows has the totals, and with parts what they are made of.
func (s *Signoff) costRows(parts bool) *targetRows {
	r := &targetRows{title: "Cost of one network and one step", what: "resource",
		head: []string{"value"}, words: 2, conditions: func(target string) string {
			if build := s.BuildText(target); build != "" {
				return ", " + build
			}
			return ""
		}}
	if len(s.Measured) > 0 {
		r.head = append(r.head, "estimate")
	}
	r.head = append(r.head, "limit", "used", "uncut", "kind", "verdict")
	for _, c := range s.Cost {
		// What was measured is seen beside totals that have estimated parts as well.
		if c.Part != budget.Total && !parts && c.Kind != budget.Measured {
			continue
		}
		cells := []string{c.name(), c.ShownValue()}
		if len(s.Measured) > 0 {
			cells = append(cells, Optional(c.Estimate,
				func(v float64) string { return Quantity(v, c.Unit) }))
		}
		r.add(c.Target, append(cells, c.limit(), UsedPercent(c.Used()), c.shownBefore(s),
			string(c.Kind), string(c.Verdict))...)
		r.rows[len(r.rows)-1].compiler = c.shownCompiler(s)
	}
	return r
}

// compilerOf names the compiler with its options that a figure holds for; empty where no compiler
// changes it.
func compilerOf(r *budget.Result, c budget.Cost) string {
	if c.Kind == budget.Exact || c.Resource == budget.RAM ||
		slices.Contains(noCode, c.Part) {
		return ""
	}
	for _, t := range r.Inputs.Targets {
		if t.Name != c.Target {
			continue
		}
		form := ""
		if c.Form == cost.Small {
			form = " " + emit.PortableOption(r.Inputs.Job.Name)
		}
		for _, m := range r.Measured {
			if m.Target == t.Name && c.Kind != budget.NotEstimated && len(m.ToolNames) > 0 {
				return fmt.Sprintf("%s %s %s", m.ToolNames[0], m.ToolVersion[0], m.Optimise)
			}
		}
		if c.Kind == budget.NotEstimated {
			return cost.FittedBuild(t.Core).String() + form
		}
		return t.Build().String() + form
	}
	return ""
}

// noCode are the parts that need not be exact and that no compiler changes.
var noCode = []string{budget.FrontEndPart, budget.ConvertersPart, "data"}

// known is what no compiler changes of a figure without an estimate; nil for any other.
func known(c budget.Cost) *float64 {
	if c.Kind != budget.NotEstimated {
		return nil
	}
	return &c.Known
}

// ShownValue prints the value; of a figure without an estimate what is known of it.
func (c *CostRow) ShownValue() string {
	switch {
	case c.Kind != budget.NotEstimated:
		return Quantity(c.Value, c.Unit)
	case c.Known != nil && *c.Known > 0:
		return "at least " + Quantity(*c.Known, c.Unit)
	}
	return string(budget.NotEstimated)
}

// shownBefore prints the same cost of the network before the cut; nothing where there is no
// estimate.
func (c *CostRow) shownBefore(s *Signoff) string {
	if !s.HasEstimate(c) {
		return ""
	}
	return Quantity(c.Before, c.Unit)
}

// shownCompiler names the compiler that the row is about: where there is no estimate for it, that
// of the job.
func (c *CostRow) shownCompiler(s *Signoff) string {
	if c.Kind == budget.NotEstimated {
		return s.BuildText(c.Target)
	}
	return c.Compiler
}

// name returns the resource and part in words, such as "cycles: layer 0, gates".
func (c *CostRow) name() string {
	resource := Spaced(c.Resource)
	if c.Part == budget.Total {
		return resource
	}
	return resource + ": " + Spaced(c.Part)
}

// limit prints the limit; nothing where there is none.
func (c *CostRow) limit() string {
	text := Optional(c.Limit, func(v float64) string { return Quantity(v, c.Unit) })
	if c.AtLeast && text != "" {
		return "at least " + text
	}
	return text
}

// freedRows has a row per part of the choice that frees something.
func (s *Signoff) freedRows() *targetRows {
	r := &targetRows{title: "Freed by the cut and by narrower words, against the whole network",
		what: "by", head: []string{"flash", "ram", "cycles"}}
	names := map[string]string{budget.FreedFrontEnd: "front end ",
		budget.FreedComputed: "computing features", budget.FreedCut: "features and units",
		budget.FreedWords: "narrower words",
		budget.Total:      "in all"}
	for _, f := range s.Freed {
		r.add(f.Target, names[f.By]+f.Name, Quantity(f.Flash, "B"), Quantity(f.RAM, "B"),
			Quantity(f.Cycles, "cycles"))
	}
	return r
}

// placementRows has a row per total that depends on where the weights are.
func (s *Signoff) placementRows() *targetRows {
	r := &targetRows{title: "Weights and tables in flash, or copied to RAM at start",
		what: "resource", head: []string{"in flash", "in ram", "chosen"}, words: 1}
	for _, p := range s.Placements {
		r.add(p.Target, Spaced(p.Resource), Quantity(p.InFlash, p.Unit),
			Quantity(p.InRAM, p.Unit), p.Chosen)
	}
	return r
}

// formRows has a row per total that depends on the form of the code.
func (s *Signoff) formRows() *targetRows {
	r := &targetRows{title: "Weights read by kernels in assembler (fast) or by plain C (small)",
		what: "resource", head: []string{"fast", "small", "chosen"}, words: 1}
	for _, f := range s.Forms {
		r.add(f.Target, Spaced(f.Resource), Quantity(f.Fast, f.Unit), Quantity(f.Small, f.Unit),
			string(f.Chosen))
	}
	return r
}

// AllCostTables has a table each, over all targets, of every row of the cost, of what the choice
// frees, and where it matters of what the weights take in flash and in RAM.
func (s *Signoff) AllCostTables() []Table {
	tables := []Table{s.costRows(true).table(), s.freedRows().table()}
	if len(s.Placements) > 0 {
		tables = append(tables, s.placementRows().table())
	}
	if len(s.Forms) > 0 {
		tables = append(tables, s.formRows().table())
	}
	return tables
}

// TargetNames lists the targets in the order of the job.
func (s *Signoff) TargetNames() []string {
	var names []string
	for _, c := range s.Cost {
		if len(names) == 0 || names[len(names)-1] != c.Target {
			names = append(names, c.Target)
		}
	}
	return names
}

// Total returns the total of a resource on a target; nil if there is none.
func (s *Signoff) Total(target string, resource budget.Resource) *CostRow {
	return s.cost(target, resource, budget.Total)
}

// cost returns the row of a part of a resource on a target; nil if there is none.
func (s *Signoff) cost(target string, resource budget.Resource, part string) *CostRow {
	for i, c := range s.Cost {
		if c.Target == target && c.Resource == resource && c.Part == part {
			return &s.Cost[i]
		}
	}
	return nil
}
