package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"

	"kerf/budget/cost"
	"kerf/exporter/report"
	"kerf/targets"
)

// profileList is what kerf targets list shows.
type profileList struct {
	Profiles []profileRow `json:"profiles"`
}

type profileRow struct {
	Profile string `json:"profile"`
	Timing  string `json:"timing"` // where the costs come from as a whole
	Core    string `json:"core"`
}

func (l *profileList) tables() []report.Table {
	t := report.Table{Title: "Target profiles", Head: []string{"profile", "timing", "core"},
		Numbers: 3}
	for _, p := range l.Profiles {
		t.Rows = append(t.Rows, []string{p.Profile, p.Timing, p.Core})
	}
	return []report.Table{t}
}

// profileResult is what kerf targets show shows. What belongs to a part is null or empty where the
// profile is of a core alone.
type profileResult struct {
	Profile        string      `json:"profile"`
	Title          string      `json:"title"`
	InstructionSet string      `json:"instruction_set"`
	WordBits       int         `json:"word_bits"`
	CompilerFlags  string      `json:"compiler_flags"`
	Optimise       string      `json:"optimise"`
	Timing         string      `json:"timing"`
	MaxClock       *float64    `json:"max_clock"` // Hz
	Flash          *float64    `json:"flash"`     // B
	RAM            *float64    `json:"ram"`       // B
	Notes          []string    `json:"notes"`
	Costs          []classRow  `json:"costs"`
	Currents       []sourceRow `json:"power"`
	FlashWaits     []waitRow   `json:"flash_wait"`

	profile *targets.Profile
}

// classRow is what an instruction of one class takes.
type classRow struct {
	Class   string  `json:"class"`
	Cycles  float64 `json:"cycles"`
	Quality string  `json:"quality"`
	Source  string  `json:"source"`
	Note    string  `json:"note"`
}

// sourceRow is one figure of the power supply, in A, A per MHz, or V.
type sourceRow struct {
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	Source string  `json:"source"`
}

// waitRow is what flash adds up to a clock, in cycles.
type waitRow struct {
	UpTo   float64 `json:"up_to"` // Hz
	Fetch  float64 `json:"fetch"`
	Jump   float64 `json:"jump"`
	Data   float64 `json:"data"`
	Source string  `json:"source"`
}

func newProfileResult(p *targets.Profile) *profileResult {
	r := &profileResult{Profile: p.Name, Title: p.Title, InstructionSet: p.ISA,
		WordBits: p.WordBits, CompilerFlags: p.CompilerFlags, Optimise: p.Optimise,
		Timing: p.TimingKind, Notes: append([]string{}, p.Notes...), Costs: []classRow{},
		Currents: []sourceRow{}, FlashWaits: []waitRow{}, profile: p}
	if p.MaxClock != nil {
		r.MaxClock = report.Finite(float64(*p.MaxClock))
	}
	if p.Flash != nil {
		r.Flash = report.Finite(float64(*p.Flash))
	}
	if p.RAM != nil {
		r.RAM = report.Finite(float64(*p.RAM))
	}
	for class, c := range p.Costs {
		r.Costs = append(r.Costs, classRow{class, c.Cycles, c.Quality, c.Source, c.Note})
	}
	slices.SortFunc(r.Costs, func(a, b classRow) int { return cmp.Compare(a.Class, b.Class) })
	for _, c := range []struct {
		name, unit string
		current    *targets.Current
	}{{"active", "A", p.Power.Active}, {"active_per_mhz", "A/MHz", p.Power.ActivePerMHz},
		{"sleep", "A", p.Power.Sleep}} {
		if c.current != nil {
			r.Currents = append(r.Currents,
				sourceRow{c.name, float64(c.current.Current), c.unit, c.current.Source})
		}
	}
	if u := p.Power.Voltage; u != nil {
		r.Currents = append(r.Currents, sourceRow{"voltage", float64(u.Voltage), "V", u.Source})
	}
	for _, w := range p.FlashWaits {
		r.FlashWaits = append(r.FlashWaits,
			waitRow{float64(w.UpTo), w.Fetch, w.Jump, w.Data, w.Source})
	}
	return r
}

func (r *profileResult) tables() []report.Table { return profileTables(r.profile) }

// fitResult is what kerf targets fit shows.
type fitResult struct {
	Profile string `json:"profile"` // file
	// number of the columns, scaled to equal length; 1 is best
	Condition float64     `json:"condition"`
	Costs     []fittedRow `json:"costs"`
	Networks  []leftRow   `json:"networks"`

	fitted *cost.Fitted
}

type fittedRow struct {
	Class    string  `json:"class"`
	Before   float64 `json:"before"` // cycles
	Fitted   float64 `json:"fitted"`
	StdError float64 `json:"std_error"`
}

// leftRow compares the measured cycles of one network with the old and the new estimate.
type leftRow struct {
	Name     string  `json:"name"`
	Network  string  `json:"network"`
	Lines    int     `json:"lines"`
	Measured float64 `json:"measured"`
	Before   float64 `json:"before"`
	Fitted   float64 `json:"fitted"`
}

func newFitResult(f *cost.Fitted, file string) *fitResult {
	r := &fitResult{Profile: file, Condition: f.Condition, Costs: []fittedRow{},
		Networks: []leftRow{}, fitted: f}
	for _, c := range f.Costs {
		r.Costs = append(r.Costs, fittedRow{c.Class, c.Before, c.After, c.Error})
	}
	for _, row := range f.Rows {
		r.Networks = append(r.Networks,
			leftRow{row.Name, row.Network, row.Lines, row.Measured, row.Before, row.After})
	}
	return r
}

func (r *fitResult) tables() []report.Table { return fitTables(r.fitted) }

// text names the file below the tables.
func (r *fitResult) text(w io.Writer, p page) error {
	if err := p.printTexts(w, r.tables()); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\nProfile: %s\n", r.Profile)
	return err
}
