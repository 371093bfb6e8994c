package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"kerf/budget/cost"
	"kerf/targets"
)

// compared is a network that had no part in the fit: the measurement and the errors of the
// estimate.
type compared struct {
	core, network string
	cycles        float64
	cyclesOff     float64 // estimate/measured - 1
	flash, chain  int     // bytes; chain is the deepest chain of calls on the stack
	flashOff      int     // bytes, estimate less measured
	stackOff      int     // bytes, bound less measured
}

// The aims that docs/cost.md judges by.
const (
	officialTiming = 0.05 // error of cycles where the maker of the core publishes timings
	otherTiming    = 0.15 // error of cycles on other cores
	flashBytes     = 64   // error of flash in bytes, or
	flashPart      = 0.03 // error of flash as a part of all, whichever is larger
	stackBytes     = 64   // bytes by which the bound of the stack may be too high
)

// writePages writes docs/cost.md and docs/cost-networks.md: the errors of the estimates on networks
// that had no part in the fit.
func writePages() error {
	rows, err := readMeasured(cost.Fast)
	if err != nil {
		return err
	}
	small, err := readMeasured(cost.Small)
	if err != nil {
		return err
	}
	var page, networks strings.Builder
	printErrors(&page, rows)
	printSmall(&page, rows, small)
	if err := printParts(&page); err != nil {
		return err
	}
	if err := printFronts(&page); err != nil {
		return err
	}
	printNetworks(&networks, rows, small)
	for name, text := range map[string]string{
		"cost.md": page.String(), "cost-networks.md": networks.String()} {
		if err := os.WriteFile(filepath.Join("docs", name), []byte(text), 0o644); err != nil {
			return err
		}
	}
	return nil
}

// errorsPage is docs/cost.md up to the rows of the first table, with ' for a backtick.
const errorsPage = `# How far the estimates of cost are off

kerf estimates flash, stack and cycles without a compiler. On %d networks that had no part in the
fit, and seven cores, no estimate of cycles was off by more than %.1f %%, of flash by more than %d B;
the bound of the stack was never too low, and at most %d B too high. Cycles missed their aim, 5 %%
(M7, M33: 15 %%), %d of %d times. Bytes of weights, tables and state are exact.

## What to do with it

- Where a limit has less room than that, measure: 'kerf measure' compiles the C and runs it on an
  emulated core, 'kerf plan --measure' judges by what was measured.
- Reading weights, which takes most of a step, is done by kernels in assembler and counted, not
  fitted. What is off is the rest, compiled C: gates, dense layers and, on the Cortex-M0+ and AVR,
  adding up inputs. Of the [small form](#the-small-form) reading weights is fitted too.
- The code of what computes features from samples is estimated worst; [below](#front-ends) stands by
  how much, and to which side where it is large. A total of flash with samples is off by as much.
- An interrupt with much to do on AVR runs out of registers, which nothing counts: a call for two
  channels with every kind of feature took 457 cycles where 343 were estimated (one front end of a
  trial job). Where an interrupt is near its limit, measure.
- No flash wait states are in the figures. 'flash_wait' in the target of the job adds them.
- The figures hold for the compiler and the flags that the sign-off names beside them. A job names
  those of its firmware ([pipeline.md](pipeline.md#building-the-c)); other options need figures of
  their own. Cycles change by up to 3 %% on the three networks of [speed.md](speed.md), code by
  a tenth.
- For the Cortex-M7 and the Cortex-M33 no official timing exists: their figures are estimates
  whatever the table says.
- 'kerf compare' takes a change of an estimate that is smaller than the largest deviation below as
  unknown.

## How it was measured

Every kind of layer, 4 to 40 features, 4 to 64 units, int8 and int16 weights. Flash, RAM and stack
come from linked programs, cycles from emulated cores with the published timing of each instruction.
The networks were drawn from a new seed after the form of the estimate was settled, no row is left
out, and nothing was changed after they had been measured. An earlier set of 30 had shown what was
missing: routines of the C library that GCC puts in the place of loops, and that it compiles a
function otherwise where it is called for one number of rows.

Estimates have the shifts of the very network, as the cost of the chosen network has. Candidates of
the search have typical shifts.

'make kernels' makes this page and [cost-networks.md](cost-networks.md), which has every network on
every core; testdata/kernels/README.md says how.

## Figures

Range of estimate less measured, and how many networks are beyond the aim: cycles within 5 %% (M7,
M33: 15 %%); flash within 3 %% or 64 bytes; the bound of the stack never below the deepest chain of
calls and at most 64 bytes above.

| core | cycles | beyond the aim | flash | beyond the aim | stack | beyond the aim |
|---|---|---|---|---|---|---|
`

// printErrors prints docs/cost.md up to the parts of the cycles.
func printErrors(w io.Writer, rows []compared) {
	cycles, flash, stack, missed := 0.0, 0, 0, 0
	sums := summaries(rows)
	for _, s := range sums {
		cycles = max(cycles, -s.lowCycles, s.highCycles)
		flash = max(flash, -s.lowFlash, s.highFlash)
		stack = max(stack, -s.lowStack, s.highStack)
		missed += s.badCycles
	}
	fmt.Fprintf(w, strings.ReplaceAll(errorsPage, "'", "`"), len(rows)/len(targets.Names()),
		100*cycles, flash, stack, missed, len(rows))
	for _, s := range sums {
		s.print(w)
	}
}

// printSmall prints the part of docs/cost.md on the small form, whose rows are compared with those
// of the fast one.
func printSmall(w io.Writer, fast, small []compared) {
	fmt.Fprint(w, strings.ReplaceAll(smallPart, "'", "`"))
	for _, s := range summaries(small) {
		s.print(w)
	}
	fmt.Fprint(w, `
What the small form saves and takes on these networks, as measured: flash less than the fast form,
and how many times its cycles.

| core | flash | networks that save 256 B or 10 % | cycles |
|---|---|---|---|
`)
	of := map[[2]string]compared{}
	for _, r := range fast {
		of[[2]string{r.core, r.network}] = r
	}
	for _, name := range targets.Names() {
		var saved, times []float64
		worthwhile := 0
		for _, r := range small {
			if r.core != name {
				continue
			}
			other := of[[2]string{name, r.network}]
			saved = append(saved, float64(other.flash-r.flash))
			times = append(times, r.cycles/other.cycles)
			if last := saved[len(saved)-1]; last >= 256 || last >= 0.1*float64(other.flash) {
				worthwhile++
			}
		}
		if len(saved) > 0 {
			fmt.Fprintf(w, "| %s | %.0f to %.0f B | %d of %d | %.1f to %.1f |\n", name,
				slices.Min(saved), slices.Max(saved), worthwhile, len(saved), slices.Min(times),
				slices.Max(times))
		}
	}
}

// smallPart begins the part of docs/cost.md on the small form, with ' for a backtick.
const smallPart = `
## The small form

Where flash is the limit, rows are read by plain C ('-DNAME_PORTABLE') instead of kernels in
assembler. Only how it reads rows is fitted anew, to a third of the networks; everything else is the
same code. The same networks judge, with the same aims. AVR has no small form: there plain C takes
more code than the kernel.

| core | cycles | beyond the aim | flash | beyond the aim | stack | beyond the aim |
|---|---|---|---|---|---|---|
`

// summaries sums up the rows of each core, in the order of the profiles; a core without rows has
// none.
func summaries(rows []compared) []*summary {
	var all []*summary
	for _, name := range targets.Names() {
		s := &summary{core: name}
		for _, r := range rows {
			if r.core == name {
				s.add(r)
			}
		}
		if s.n > 0 {
			all = append(all, s)
		}
	}
	return all
}

// printNetworks prints docs/cost-networks.md.
func printNetworks(w io.Writer, fast, small []compared) {
	fmt.Fprint(w, `# Estimates of cost beside measurements, network by network

What [cost.md](cost.md) sums up. A network reads: features; recurrent layers as kind:units:bits of
W:bits of U:bits of the state; dense layers as dense:outputs:bits:activation. Beside each measured
figure stands how far the estimate is off, of the stack how far the bound is above it.

| core | network | cycles | estimate | flash, B | estimate | stack, B | bound |
|---|---|---|---|---|---|---|---|
`)
	printCompared(w, fast)
	fmt.Fprint(w, `
In the small form:

| core | network | cycles | estimate | flash, B | estimate | stack, B | bound |
|---|---|---|---|---|---|---|---|
`)
	printCompared(w, small)
}

// printCompared prints a line for each network.
func printCompared(w io.Writer, rows []compared) {
	for _, r := range rows {
		fmt.Fprintf(w, "| %s | %s | %.0f | %+.1f %% | %d | %+d | %d | %+d |\n", r.core, r.network,
			r.cycles, 100*r.cyclesOff, r.flash, r.flashOff, r.chain, r.stackOff)
	}
}

// summary is the range of the errors on one core.
type summary struct {
	core                          string
	n                             int
	lowCycles, highCycles         float64
	lowFlash, highFlash           int
	lowStack, highStack           int
	badCycles, badFlash, badStack int
}

// print prints the row of a core.
func (s *summary) print(w io.Writer) {
	fmt.Fprintf(w, "| %s | %+.1f to %+.1f %% | %d | %+d to %+d B | %d | %+d to %+d B | %d |\n",
		s.core, 100*s.lowCycles, 100*s.highCycles, s.badCycles, s.lowFlash, s.highFlash,
		s.badFlash, s.lowStack, s.highStack, s.badStack)
}

// add takes a network in.
func (s *summary) add(r compared) {
	if s.n == 0 {
		s.lowCycles, s.highCycles, s.lowFlash, s.highFlash, s.lowStack, s.highStack = r.cyclesOff,
			r.cyclesOff, r.flashOff, r.flashOff, r.stackOff, r.stackOff
	}
	s.n++
	s.lowCycles, s.highCycles = min(s.lowCycles, r.cyclesOff), max(s.highCycles, r.cyclesOff)
	s.lowFlash, s.highFlash = min(s.lowFlash, r.flashOff), max(s.highFlash, r.flashOff)
	s.lowStack, s.highStack = min(s.lowStack, r.stackOff), max(s.highStack, r.stackOff)
	aim := officialTiming
	if r.core == "cortex-m7" || r.core == "cortex-m33" {
		aim = otherTiming
	}
	if math.Abs(r.cyclesOff) > aim {
		s.badCycles++
	}
	if math.Abs(float64(r.flashOff)) > max(flashBytes, flashPart*float64(r.flash)) {
		s.badFlash++
	}
	if r.stackOff < 0 || r.stackOff > stackBytes {
		s.badStack++
	}
}

// readMeasured compares the estimates with the measurements of the networks that judge, in one
// form, on all cores that have it. A missing measurement is an error.
func readMeasured(form cost.Form) ([]compared, error) {
	records, err := networkRecords.read()
	if err != nil {
		return nil, err
	}
	all, err := samples(true)
	if err != nil {
		return nil, err
	}
	var rows []compared
	for _, name := range targets.Names() {
		core, err := targets.Load(name)
		if err != nil {
			return nil, err
		}
		if form == cost.Small && !hasSmall(core) {
			continue
		}
		for _, s := range all {
			m := records[keyOf(s.files, core, form)]
			if m == nil {
				return nil, fmt.Errorf("%s on %s is not measured: run without -table",
					cost.ShapeText(s.shape), name)
			}
			r := compared{core: name, network: cost.ShapeText(s.shape), cycles: m.MeanCycles(),
				flash: int(m.Flash), chain: int(m.StackChain)}
			e := cost.Of(s.shape, core, targets.FlashWait{}, false, form)
			flash := e.Code + s.shape.WeightBytes() + s.shape.TableBytes()
			r.cyclesOff, r.flashOff, r.stackOff = e.Total()/r.cycles-1, flash-r.flash,
				e.Stack-r.chain
			rows = append(rows, r)
		}
	}
	return rows, nil
}
