package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"kerf/exporter/report"
	"kerf/fault"
	"kerf/targets"
)

func (a *app) targetsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "targets",
		Short: "List the target profiles, show one with its sources, or fit one to a board",
		Example: `  kerf targets list
  kerf targets show cortex-m4f
  kerf targets fit cortex-m4f board.csv --classes load_flash`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cmd.Help()
		},
	}
	cmd.AddCommand(a.targetsListCommand(), a.targetsShowCommand(), a.targetsFitCommand())
	return cmd
}

func (a *app) targetsListCommand() *cobra.Command {
	return a.verb(&cobra.Command{
		Use:     "list",
		Short:   "List the built-in profiles",
		Example: `  kerf targets list`,
		Args:    noArguments,
	}, func(context.Context, []string) (result, error) {
		list := &profileList{}
		for _, name := range targets.Names() {
			p, err := targets.Load(name)
			if err != nil {
				return nil, err
			}
			list.Profiles = append(list.Profiles, profileRow{p.Name, p.TimingKind, p.Title})
		}
		return list, nil
	})
}

func (a *app) targetsShowCommand() *cobra.Command {
	return a.verb(&cobra.Command{
		Use:   "show PROFILE",
		Short: "Show what an instruction costs on a core, and where the figure comes from",
		Long: `show prints a built-in profile, or one of your own when PROFILE ends in .toml.
Every figure has its source.`,
		Example: `  kerf targets show cortex-m4f
  kerf targets show avr8`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return fault.New(fmt.Sprintf("%s takes one profile, got %d arguments",
					cmd.CommandPath(), len(args)), "kerf targets list names them")
			}
			return nil
		},
	}, func(_ context.Context, args []string) (result, error) {
		p, err := readProfile(args[0])
		if err != nil {
			return nil, err
		}
		return newProfileResult(p), nil
	})
}

// readProfile reads a built-in profile, or a file when the name ends in .toml.
func readProfile(name string) (*targets.Profile, error) {
	if strings.HasSuffix(name, ".toml") {
		return targets.ReadFile(name)
	}
	return targets.Load(name)
}

// profileTables shows a profile: what it is for, and the cost of every instruction class.
func profileTables(p *targets.Profile) []report.Table {
	about := report.Table{Title: p.Title, Head: []string{"", p.Name}, Numbers: 2,
		Rows: [][]string{
			{"instruction set", p.ISA},
			{"word", strconv.Itoa(p.WordBits) + " bits"},
			{"compiler flags", p.CompilerFlags},
			{"optimisation", p.Optimise + " (estimates hold for it)"},
			{"timing", p.TimingKind},
		}}
	about.Rows = append(about.Rows, chipRows(p)...)
	for _, note := range p.Notes {
		about.Rows = append(about.Rows, []string{"note", note})
	}
	costs := report.Table{Title: "Cycles per instruction",
		Head: []string{"instruction", "cycles", "from", "source and note"}, Numbers: 1, Words: 2}
	classes := make([]string, 0, len(p.Costs))
	for class := range p.Costs {
		classes = append(classes, class)
	}
	sort.Strings(classes)
	for _, class := range classes {
		c := p.Costs[class]
		source := c.Source
		if c.Note != "" {
			source += "; " + c.Note
		}
		costs.Rows = append(costs.Rows, []string{strings.ReplaceAll(class, "_", " "),
			strconv.FormatFloat(c.Cycles, 'g', -1, 64), c.Quality, source})
	}
	return []report.Table{about, costs}
}

// chipRows shows what a profile says about the chip around the core.
func chipRows(p *targets.Profile) [][]string {
	var rows [][]string
	add := func(name, value string, from ...string) {
		rows = append(rows, []string{name, strings.Join(append([]string{value}, from...), "; ")})
	}
	if p.MaxClock != nil {
		add("largest clock", targets.FormatHertz(float64(*p.MaxClock)))
	}
	if p.Flash != nil {
		add("flash", targets.FormatBytes(int64(*p.Flash)))
	}
	if p.RAM != nil {
		add("ram", targets.FormatBytes(int64(*p.RAM)))
	}
	for _, c := range []struct {
		name    string
		current *targets.Current
	}{{"active", p.Power.Active}, {"active, per MHz", p.Power.ActivePerMHz},
		{"asleep", p.Power.Sleep}} {
		if c.current != nil {
			add(c.name, targets.FormatAmperes(float64(c.current.Current)), c.current.Source)
		}
	}
	if u := p.Power.Voltage; u != nil {
		add("voltage", strconv.FormatFloat(float64(u.Voltage), 'g', -1, 64)+" V", u.Source)
	}
	for _, w := range p.FlashWaits {
		add("flash adds", fmt.Sprintf("up to %s: %g cycles per instruction, %g per jump, %g per "+
			"constant", targets.FormatHertz(float64(w.UpTo)), w.Fetch, w.Jump, w.Data), w.Source)
	}
	return rows
}

// profileList is what kerf targets list shows.
type profileList struct {
	Profiles []profileRow `json:"profiles"`
}

// profileRow is one built-in profile.
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

// profileResult is what kerf targets show shows. Figures of the chip are null or empty where the
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

// classRow is the cost of an instruction of one class.
type classRow struct {
	Class   string  `json:"class"`
	Cycles  float64 `json:"cycles"`
	Quality string  `json:"quality"`
	Source  string  `json:"source"`
	Note    string  `json:"note"`
}

// sourceRow is one figure of the power supply, in A, A/MHz or V.
type sourceRow struct {
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	Source string  `json:"source"`
}

// waitRow is what flash adds to instructions up to a clock, in cycles.
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
