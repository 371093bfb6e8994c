package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/olekukonko/tablewriter"
	"github.com/olekukonko/tablewriter/renderer"
	"github.com/olekukonko/tablewriter/tw"

	"kerf/targets/measure"
)

// printRows writes a table for each network in Markdown, which reads as text too, one of sizes and
// the float C, and below them the tools.
func printRows(w io.Writer, rows []row) error {
	for i, n := range networks {
		fmt.Fprintf(w, "%s, int8 weights, 16-bit state: cycles of a step per multiply-accumulate "+
			"(%.0f), by compiler flags\n\n", n, n.perStep())
		table := tablewriter.NewTable(w, tablewriter.WithRenderer(renderer.NewMarkdown()),
			tablewriter.WithHeaderAutoFormat(tw.Off))
		header := []string{"core", "of the profile"}
		table.Header(append(header, levels[1:]...))
		for _, r := range rows {
			cells := []string{r.core}
			for _, one := range r.integer[i] {
				if one == nil {
					cells = append(cells, "")
					continue
				}
				cells = append(cells, fmt.Sprintf("%.2f", one.MeanCycles()/n.perStep()))
			}
			if err := table.Append(cells); err != nil {
				return err
			}
		}
		if err := table.Render(); err != nil {
			return err
		}
		fmt.Fprintln(w)
	}
	table := tablewriter.NewTable(w, tablewriter.WithRenderer(renderer.NewMarkdown()),
		tablewriter.WithHeaderAutoFormat(tw.Off))
	table.Header("core", "flags of the profile", "cycles", "instructions", "text", "stack",
		"plain C: times ours", "text", "float C -O2: cycles", "times ours", "text")
	for _, r := range rows {
		fast := r.integer[0][0]
		if err := table.Append(r.core, r.flags, cycles(fast),
			fmt.Sprintf("%.0f", instructions(fast)),
			fast.Code(), fast.StackChain,
			fmt.Sprintf("%.2f", r.plain.MeanCycles()/fast.MeanCycles()), r.plain.Code(),
			cycles(r.float),
			fmt.Sprintf("%.1f", r.float.MeanCycles()/fast.MeanCycles()),
			r.float.Code()); err != nil {
			return err
		}
	}
	fmt.Fprintf(w, "%s:\n\n", networks[0])
	if err := table.Render(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\nCycles: mean of %d steps (float C: %d), in brackets the "+
		"shortest and the longest where they differ.\nText: bytes of inference without the "+
		"network's constants, library routines included. Stack: of the deepest chain of calls.\n\n%s",
		measure.DefaultSteps, floatSteps, tools(rows))
	return err
}

// cycles prints the mean, and the shortest and the longest step where the two differ.
func cycles(r *measure.Result) string {
	if r.IsConstantTime() {
		return fmt.Sprintf("%.0f", r.MaxCycles())
	}
	return fmt.Sprintf("%.0f (%.0f..%.0f)", r.MeanCycles(), r.MinCycles(), r.MaxCycles())
}

// instructions returns the executed instructions of a step, the mean.
func instructions(r *measure.Result) float64 {
	var sum int64
	for _, n := range r.Instructions {
		sum += n
	}
	return float64(sum) / float64(len(r.Instructions))
}

// tools lists compilers and emulators with their versions, each line once.
func tools(rows []row) string {
	var lines []string
	for _, r := range rows {
		for _, t := range r.float.Tools {
			if line := t.Name + " " + t.Version + "\n"; !slices.Contains(lines, line) {
				lines = append(lines, line)
			}
		}
	}
	return strings.Join(lines, "")
}
