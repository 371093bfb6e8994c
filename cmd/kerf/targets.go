package main

import (
	"context"
	"fmt"
	"sort"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"kerf/exporter/report"
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
				return &usageError{fmt.Sprintf("%s takes one profile, got %d arguments",
					cmd.CommandPath(), len(args)), "kerf targets list names them"}
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

func profileTables(p *targets.Profile) []report.Table {
	about := report.Table{Title: p.Title, Head: []string{"", p.Name}, Numbers: 2,
		Rows: [][]string{
			{"instruction set", p.ISA},
			{"word", strconv.Itoa(p.WordBits) + " bits"},
			{"compiler flags", p.CompilerFlags},
			{"optimisation", p.Optimise + " (estimates hold for it)"},
			{"timing", p.TimingKind},
		}}
	about.Rows = append(about.Rows, partRows(p)...)
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

// partRows is what a profile says about a part with the core.
func partRows(p *targets.Profile) [][]string {
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
