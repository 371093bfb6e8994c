package main

import (
	"context"
	"fmt"
	"os/exec"
	"strconv"
	"strings"

	"kerf/budget"
)

// reach is what plan may cost at most, as a multiple of the reference, where it has more than one
// unit more.
const reach = 1.15

// printComparison plans jobs with [recovery] and prints what comes out beside their references.
func printComparison(r *results, names []string) error {
	fmt.Println("| job | features, units | multiply-accumulates | reference | cycles of " +
		"those of the reference | within reach | rows that fail | verdict | processor time | " +
		"passes |\n|---|---|---:|---:|---:|---|---|---|---:|---:|")
	for _, name := range names {
		in, err := load(name)
		if err != nil {
			return err
		}
		reference := r.of(name).Reference
		seconds, measured := pass(in)
		n, err := plan(context.Background(), in)
		if err != nil {
			return err
		}
		multiple, within, passes := "", "no reference", "not measured"
		macs := "-"
		if reference != nil {
			multiple, within = fmt.Sprintf("%.2f", n.Price/reference.Price), "no"
			if sum(n.Units) <= sum(reference.Units)+1 || n.Price <= reach*reference.Price {
				within = "yes"
			}
			macs = strconv.Itoa(reference.MACs)
		}
		if measured {
			passes = fmt.Sprintf("%.0f", n.Seconds/seconds)
		}
		failing := strings.Join(n.failing(), ", ")
		if failing == "" {
			failing = "none"
		}
		fmt.Printf("| %s | %d, %s | %d | %s | %s | %s | %s | %s | %.0f s | %s |\n", name,
			n.Features, unitsText(n.Units), n.MACs,
			macs, multiple, within, failing, n.Verdict, n.Seconds, passes)
	}
	return nil
}

// unitsText is a number of units per layer.
func unitsText(units []int) string {
	return strings.Trim(strings.ReplaceAll(fmt.Sprint(units), " ", " + "), "[]")
}

// The steps of the sequences that torch_pass.py runs.
const passSteps = 1500

// pass returns the processor time that a general-purpose tensor library takes for all recordings
// of a job, forward through layers of the size of the network as given, one thread; of any kind
// of cell it runs a GRU. It is not measured where the library is missing.
func pass(in *budget.Inputs) (seconds float64, measured bool) {
	all := in.Selection.Steps() + in.Signoff.Steps()
	if in.Further != nil {
		all += in.Further.Steps()
	}
	steps := max(all, passSteps)
	for _, l := range in.Float.Net.Recurrent {
		out, err := exec.Command("/usr/bin/python3", "testdata/benchscore/torch_pass.py",
			strconv.Itoa(l.Inputs), strconv.Itoa(l.Units), strconv.Itoa(steps)).Output()
		if err != nil {
			return 0, false
		}
		layer, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
		if err != nil {
			return 0, false
		}
		whole := float64(steps / passSteps * passSteps)
		seconds += layer * float64(all) / whole
	}
	return seconds, true
}
