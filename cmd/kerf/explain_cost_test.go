package main

import (
	"strings"
	"testing"

	"kerf/budget"
	"kerf/budget/cost"
	"kerf/exporter/report"
)

// Every row of a front end explains itself: what it is, which figures add up to it, and what the
// figure rests on; a part by its target and its own name as well, where one resource has it.
func TestRowsOfAFrontEndExplainThemselves(t *testing.T) {
	s := &report.Signoff{Name: "leakair"}
	for _, r := range []struct {
		resource budget.Resource
		parts    []string
	}{{budget.Flash, []string{budget.FrontTablesPart, budget.FrontCodePart}},
		{budget.RAM, []string{budget.FrontStatePart}},
		{budget.Cycles, []string{budget.SamplingPart, budget.FeaturesPart}},
		{budget.Interrupt, []string{budget.CallPart, cost.FlashWait}}, {budget.InterruptTime, nil},
		{budget.FeaturesTime, nil}} {
		for _, part := range append(r.parts, budget.Total) {
			kind := budget.Estimated
			if part == budget.FrontTablesPart || part == budget.FrontStatePart {
				kind = budget.Exact
			}
			s.Cost = append(s.Cost, report.CostRow{Target: "avr", Profile: "avr8", Unit: "B",
				Resource: r.resource, Part: part, Kind: kind})
		}
	}
	for _, c := range []struct {
		asked          string
		meaning, holds string // words of the meaning, and of the rest
	}{
		{"avr/front_code", "machine code of the front end", "name_sample + name_features"},
		{"avr/front code", "machine code of the front end", "fitted to front ends"},
		{"avr/front_tables", "sines", "16 B for each feature"},
		{"avr/front_tables", "sines", "arrays of leakair_front.c"},
		{"avr/front_state", "NAME_front", "LEAKAIR_FRONT_BYTES"},
		{"avr/sampling", "calls of name_sample", "samples of a window x mean call"},
		{"avr/features", "a call of name_features", "scaling of each feature"},
		{"avr/interrupt", "longest call of name_sample", "codes that are new extremes"},
		{"avr/call", "without waiting for flash", "part of avr/interrupt"},
		{"avr/interrupt_time", "longest call of name_sample", "interrupt / clock"},
		{"avr/features_time", "until its features are there", "cycles/features"},
		{"avr/features_time", "until its features are there", "docs/cost.md, front ends"},
	} {
		found, err := namedRows(s, c.asked, "kerf explain d")
		e, ok := found.(*explained)
		if err != nil || !ok || len(e.Rows) != 1 {
			t.Errorf("%s: %v, %v", c.asked, found, err)
			continue
		}
		rest := e.Rows[0].Formula + e.Rows[0].KindMeans + strings.Join(e.Rows[0].Sources, " ")
		for _, f := range e.Rows[0].Figures {
			rest += f.Name
		}
		if !strings.Contains(e.Rows[0].Meaning, c.meaning) || !strings.Contains(rest, c.holds) {
			t.Errorf("%s: %q, %q", c.asked, e.Rows[0].Meaning, rest)
		}
	}
}
