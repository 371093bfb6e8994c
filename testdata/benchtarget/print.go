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

// printRows writes the table in Markdown, which reads as text too, and below it the tools.
func printRows(w io.Writer, rows []row) error {
	fmt.Fprintf(w, "GRU (reset-after), %d features, %d units, %d outputs, int8 weights, 16-bit "+
		"state: one step, %d multiply-accumulates\n\n", features, units, outputs, perStep)
	table := tablewriter.NewTable(w, tablewriter.WithRenderer(renderer.NewMarkdown()),
		tablewriter.WithHeaderAutoFormat(tw.Off))
	table.Header("core", "for speed", "cycles", "per MAC", "instructions per MAC", "text",
		"-Os: cycles", "text", "float C -O2: cycles", "times ours", "text")
	for _, r := range rows {
		fast, small := r.integer[0], r.integer[1]
		if err := table.Append(r.core, r.flags, cycles(fast), perMAC(fast),
			instructionsPerMAC(fast), fast.Code(), cycles(small), small.Code(),
			cycles(r.float), fmt.Sprintf("%.1f", r.float.MeanCycles()/fast.MeanCycles()),
			r.float.Code()); err != nil {
			return err
		}
	}
	if err := table.Render(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\nCycles: mean of %d steps (float C: %d), in brackets the "+
		"shortest and the longest where they differ.\nText: bytes of inference without the "+
		"network's constants, library routines included.\n\n%s", measure.DefaultSteps, floatSteps,
		tools(rows))
	return err
}

// cycles prints the mean, and the shortest and the longest step where the two differ.
func cycles(r *measure.Result) string {
	if r.IsConstantTime() {
		return fmt.Sprintf("%.0f", r.MaxCycles())
	}
	return fmt.Sprintf("%.0f (%.0f..%.0f)", r.MeanCycles(), r.MinCycles(), r.MaxCycles())
}

// perMAC prints the cycles of one multiply-accumulate.
func perMAC(r *measure.Result) string { return fmt.Sprintf("%.2f", r.MeanCycles()/perStep) }

// instructionsPerMAC prints the executed instructions of one multiply-accumulate.
func instructionsPerMAC(r *measure.Result) string {
	var sum int64
	for _, n := range r.Instructions {
		sum += n
	}
	return fmt.Sprintf("%.2f", float64(sum)/float64(len(r.Instructions))/perStep)
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
