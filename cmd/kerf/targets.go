package main

import (
	"fmt"
	"sort"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"kerf/exporter"
	"kerf/targets"
)

func (a *app) targetsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "targets",
		Short: "List the target profiles, or show one with its sources",
		Example: `  kerf targets list
  kerf targets show cortex-m4f`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cmd.Help()
		},
	}
	cmd.AddCommand(a.targetsListCommand(), a.targetsShowCommand())
	return cmd
}

func (a *app) targetsListCommand() *cobra.Command {
	var format string
	cmd := &cobra.Command{
		Use:     "list",
		Short:   "List the built-in profiles",
		Example: `  kerf targets list`,
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			t := exporter.Table{Title: "Target profiles", Head: []string{"profile", "timing", "core"}, Numbers: 3}
			for _, name := range targets.Names() {
				p, err := targets.Load(name)
				if err != nil {
					return err
				}
				t.Rows = append(t.Rows, []string{p.Name, p.TimingKind, p.Title})
			}
			return a.printTables(format, t)
		},
	}
	formatFlag(cmd, &format)
	return cmd
}

func (a *app) targetsShowCommand() *cobra.Command {
	var format string
	cmd := &cobra.Command{
		Use:   "show PROFILE",
		Short: "Show what an instruction costs on a core, and where the figure comes from",
		Long: `show prints a built-in profile, or one of your own when PROFILE ends in .toml.
Every figure has its source.`,
		Example: `  kerf targets show cortex-m4f
  kerf targets show avr8`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return &usageError{fmt.Sprintf("%s takes one profile, got %d arguments", cmd.CommandPath(), len(args)), "kerf targets list names them"}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			read := targets.Load
			if strings.HasSuffix(args[0], ".toml") {
				read = targets.ReadFile
			}
			p, err := read(args[0])
			if err != nil {
				return err
			}
			return a.printTables(format, profileTables(p)...)
		},
	}
	formatFlag(cmd, &format)
	return cmd
}

func profileTables(p *targets.Profile) []exporter.Table {
	about := exporter.Table{Title: p.Title, Head: []string{"", p.Name}, Numbers: 2, Rows: [][]string{
		{"instruction set", p.ISA},
		{"word", strconv.Itoa(p.WordBits) + " bits"},
		{"compiler flags", p.CompilerFlags},
		{"optimisation", p.Optimise + " (estimates hold for it)"},
		{"timing", p.TimingKind},
	}}
	for _, note := range p.Notes {
		about.Rows = append(about.Rows, []string{"note", note})
	}
	costs := exporter.Table{Title: "Cycles per instruction", Head: []string{"instruction", "cycles", "from", "source and note"}, Numbers: 1, Words: 2}
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
		costs.Rows = append(costs.Rows, []string{strings.ReplaceAll(class, "_", " "), strconv.FormatFloat(c.Cycles, 'g', -1, 64), c.Quality, source})
	}
	return []exporter.Table{about, costs}
}
