package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"kerf/budget/cost"
	"kerf/targets"
)

// purposes are the parts of the cycles of a step, whatever the layer: the end of their name in the
// cost table, and a word for reports.
var purposes = []struct{ end, word string }{
	{"_input_products", "input products"}, {"_recurrent_products", "recurrent products"},
	{"_gates", "gates"}, {"", "dense layers"}, {"call", "calls"},
}

// purposeOf returns the index in purposes of a part of the cost table.
func purposeOf(part string) int {
	for i, p := range purposes {
		if p.end != "" && strings.HasSuffix(part, p.end) {
			return i
		}
	}
	return 3
}

// spread holds the errors of the estimates of a part, over networks.
type spread struct {
	n           int
	low, high   float64 // estimate/measured - 1
	squares     float64
	share, step float64 // measured cycles of the part, and of whole steps
}

// printParts compares the parts of the cycles with the functions of the emitted C, on the networks
// that judge.
func printParts(w io.Writer) error {
	records, err := networkRecords.read()
	if err != nil {
		return err
	}
	all, err := samples(true)
	if err != nil {
		return err
	}
	fmt.Fprint(w, `
The parts of the cycles in the cost table beside the measured cycles of the functions that they
stand for, on the same networks: range and root mean square of what the estimate is off, and the
share of the part in all measured cycles. A part of a small share may be far off and say nothing of
the sum.

| core | part | range | root mean square | share |
|---|---|---|---|---|
`)
	for _, name := range targets.Names() {
		core, err := targets.Load(name)
		if err != nil {
			return err
		}
		spreads := make([]spread, len(purposes))
		for _, s := range all {
			r := records[keyOf(s.files, core, cost.Fast)] // not nil: readMeasured has found all
			measured := map[string]float64{}
			step := 0.0
			functions, _ := cost.Functions(s.shape, core.ISA, cost.Fast)
			for _, f := range functions {
				cycles := r.Functions["net_"+f.Name].Cycles
				measured[f.Part] += cycles
				step += cycles
			}
			for _, part := range cost.Of(s.shape, core, targets.FlashWait{}, false,
				cost.Fast).Cycles {
				p := &spreads[purposeOf(part.Name)]
				off := part.Cycles/measured[part.Name] - 1
				if p.n == 0 {
					p.low, p.high = off, off
				}
				p.n++
				p.low, p.high = min(p.low, off), max(p.high, off)
				p.squares += off * off
				p.share += measured[part.Name]
			}
			for i := range spreads {
				spreads[i].step += step
			}
		}
		for i, p := range spreads {
			fmt.Fprintf(w, "| %s | %s | %+.1f to %+.1f %% | %.1f %% | %.1f %% |\n", name,
				purposes[i].word, 100*p.low, 100*p.high, 100*math.Sqrt(p.squares/float64(p.n)),
				100*p.share/p.step)
		}
	}
	return nil
}
