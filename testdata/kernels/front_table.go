package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"

	"kerf/budget/cost"
	"kerf/targets"
)

// The aim of estimates of front ends: cycles of a window within a share, or within a number of
// cycles where that is more.
const (
	frontPartAim  = 0.05
	frontCycleAim = 60
)

// comparedFront is a front end that had no part in the fit, on one core: what is estimated less
// what was measured.
type comparedFront struct {
	core, text       string
	measured, window float64 // cycles of a window: name_sample and name_features
	longest, over    float64 // of name_sample
	code             float64 // bytes of code that were measured
	flashOff, deeper int     // bytes of that; bytes of the bound of the stack
	isBeyond         bool
}

// compareFronts compares the estimates with the measurements of the front ends that judge, or of
// those of the fit. A missing measurement is an error.
func compareFronts(judged bool) ([]comparedFront, error) {
	records, err := frontRecords.read()
	if err != nil {
		return nil, err
	}
	all, err := frontSamples(judged)
	if err != nil {
		return nil, err
	}
	var rows []comparedFront
	for _, name := range targets.Names() {
		core, err := targets.Load(name)
		if err != nil {
			return nil, err
		}
		if !judged && sameCode[name] != "" {
			continue
		}
		for _, s := range all {
			r := records[keyOf(s.files, core, cost.Fast)]
			if r == nil {
				return nil, fmt.Errorf("%s on %s is not measured: run without -table", s.text, name)
			}
			m := r.Front
			e := cost.OfFrontEnd(s.front, s.given, core, targets.FlashWait{}, false)
			c := comparedFront{core: name, text: s.text,
				measured: m.Sampling.Cycles + m.Features.Cycles, longest: m.Longest.Cycles}
			estimated := float64(s.samples())*e.Sample.Cycles + e.Features.Cycles
			c.window, c.over = estimated-c.measured, e.Longest.Cycles-c.longest
			c.code = float64(int(m.Flash) - s.front.TableBytes(s.given))
			c.flashOff = e.Code - int(c.code)
			c.deeper = min(e.FeaturesStack-int(m.FeaturesChain), e.SampleStack-int(m.SampleChain))
			c.isBeyond = math.Abs(c.window) > max(frontCycleAim, frontPartAim*c.measured)
			rows = append(rows, c)
		}
	}
	return rows, nil
}

// printFronts prints the section of docs/cost.md about front ends.
func printFronts(w io.Writer) error {
	rows, err := compareFronts(true)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, `
## Front ends

What computes features from samples is counted in the same way, from %d front ends that were drawn
by one seed, and judged on %d that were drawn by another, which was written down before any of them
was measured: up to three channels and %d features of every kind, windows of 7 to 400 samples. What
is counted was improved four times after they had been looked at; when the C was changed afterwards,
what is counted followed from front ends of the fit alone. Cycles are those of a window, all
calls of NAME_sample and one of NAME_features; the longest call is of NAME_sample. The aim is
%.0f %% or %d cycles. Code is that of NAME_front.c with the library routines that it links, without
its tables, whose bytes are exact. Its estimates are the coarsest of all; the last column but one
has the mean of the larger half of the front ends. Where a limit of flash is near, measure.

| core | cycles of a window | beyond the aim | longest call | code | of the code | of large ones, mean | stack, bound less measured |
|---|---|---|---|---|---|---|---|
`, frontFitted, frontHeld, mostFeatures, 100*frontPartAim, frontCycleAim)
	for _, name := range targets.Names() {
		var cycles, longest, flash, share, stack span
		beyond := 0
		var ofCore []comparedFront
		for _, r := range rows {
			if r.core != name {
				continue
			}
			cycles.add(100 * r.window / r.measured)
			longest.add(r.over)
			flash.add(float64(r.flashOff))
			share.add(100 * float64(r.flashOff) / r.code)
			ofCore = append(ofCore, r)
			stack.add(float64(r.deeper))
			if r.isBeyond {
				beyond++
			}
		}
		fmt.Fprintf(w,
			"| %s | %+.1f to %+.1f %% | %d | %+.0f to %+.0f cycles | %+.0f to %+.0f B | "+
				"%+.1f to %+.1f %% | %+.1f %% | %+.0f to %+.0f B |\n", name, cycles.low,
			cycles.high, beyond, longest.low, longest.high, flash.low, flash.high, share.low,
			share.high, ofLarge(ofCore), stack.low, stack.high)
	}
	return nil
}

// ofLarge returns by how many percent the code of the larger half of front ends is off, on average.
func ofLarge(all []comparedFront) float64 {
	slices.SortFunc(all, func(a, b comparedFront) int { return cmp.Compare(b.code, a.code) })
	half := all[:len(all)/2]
	mean := 0.0
	for _, r := range half {
		mean += 100 * float64(r.flashOff) / r.code / float64(len(half))
	}
	return mean
}

// span is the range of values.
type span struct {
	low, high float64
	any       bool
}

func (s *span) add(v float64) {
	if !s.any {
		s.low, s.high, s.any = v, v, true
	}
	s.low, s.high = min(s.low, v), max(s.high, v)
}
