// Kernels measures the emitted C of many networks on every core and fits the figures by which
// budget estimates cost:
//
//	go run ./testdata/kernels
//	go run ./testdata/kernels -fit
//	go run ./testdata/kernels -front
//	go run ./testdata/kernels -table
//
// The first measures the networks that are not yet in measurements.jsonl.gz and writes
// budget/cost/kernels.toml and testdata/kernels/measured.csv; the second writes these files without
// measuring; the third does the same for front ends (fronts.jsonl.gz, budget/cost/front.toml), with
// -fit without measuring; the fourth writes docs/cost.md and docs/cost-networks.md, the errors of
// the estimates. README.md says how it is done.
//
// Files, in the order in which to read them: samples.go (the networks), main.go and record.go (the
// measurements), fit.go and write.go, table.go and parts.go (the pages); of front ends
// front_samples.go, front.go, front_fit.go and front_table.go.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"sync"

	"kerf/budget/cost"
	"kerf/targets"
	"kerf/targets/measure"
)

// steps is the number of steps of each measurement. Our choice: a step takes nearly the same time
// whatever its input.
const steps = 2

func main() {
	table := flag.Bool("table", false, "write how far the estimates are off, instead of measuring")
	fit := flag.Bool("fit", false, "fit the measurements that are there, and measure nothing")
	fronts := flag.Bool("front", false, "measure and fit front ends, instead of networks")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	do := func(ctx context.Context) error { return run(ctx, !*fit) }
	if *fronts {
		do = func(ctx context.Context) error { return runFronts(ctx, !*fit) }
	}
	if *table {
		do = func(context.Context) error { return writePages() }
	}
	if err := do(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "kernels:", err)
		os.Exit(1)
	}
}

// measured is one network in one form on one core.
type measured struct {
	*sample
	core   *targets.Profile
	form   cost.Form
	result *record
}

// run measures the networks without a record, if it may, and fits and writes the figures.
func run(ctx context.Context, mayMeasure bool) error {
	var runs []*measured
	for _, judged := range []bool{false, true} {
		all, err := samples(judged)
		if err != nil {
			return err
		}
		for i, s := range all {
			for _, name := range targets.Names() {
				p, err := targets.Load(name)
				if err != nil {
					return err
				}
				if !judged && sameCode[name] != "" {
					continue
				}
				runs = append(runs, &measured{sample: s, core: p, form: cost.Fast})
				if hasSmall(p) && (judged || i%smallEvery == 0) {
					runs = append(runs, &measured{sample: s, core: p, form: cost.Small})
				}
			}
		}
	}
	records, err := networkRecords.read()
	if err != nil {
		return err
	}
	var missing []*measured
	for _, r := range runs {
		if r.result = records[keyOf(r.files, r.core, r.form)]; r.result == nil {
			missing = append(missing, r)
		}
	}
	if len(missing) > 0 && !mayMeasure {
		return fmt.Errorf("%d of %d measurements are missing: run without -fit", len(missing),
			len(runs))
	}
	if len(missing) > 0 {
		if err := measureAll(ctx, missing); err != nil {
			return err
		}
		results := make([]*record, len(runs))
		for i, r := range runs {
			results[i] = r.result
		}
		if err := networkRecords.keep(results); err != nil {
			return err
		}
	}
	sets, err := fitAll(runs)
	if err != nil {
		return err
	}
	return write(runs, sets)
}

// sameCode maps a profile to a fitted instruction set for which the compiler makes nearly the same
// code. Such profiles only judge.
var sameCode = map[string]string{"cortex-m7": "armv7em", "cortex-m33": "armv7em"}

// smallEvery is the step from one network of the fit to the next one that is measured in the small
// form as well. Our choice: of that form nothing but reading rows is fitted, and a third of the
// networks has some 150 functions that do.
const smallEvery = 3

// hasSmall reports whether a core has a small form: all but AVR, whose kernels in assembler take
// less code than plain C (docs/speed.md).
func hasSmall(p *targets.Profile) bool { return p.ISA != "avr" }

// measureAll measures on all processors of this machine and writes every result to
// networkRecords.growing as soon as it is there.
func measureAll(ctx context.Context, runs []*measured) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	growing, err := os.OpenFile(networkRecords.growing, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	defer growing.Close()
	var lock sync.Mutex
	next := make(chan *measured)
	var workers sync.WaitGroup
	for range runtime.NumCPU() {
		workers.Go(func() {
			for r := range next {
				line, err := r.measure(ctx)
				if err != nil {
					cancel(fmt.Errorf("network %s on %s: %w", cost.ShapeText(r.shape),
						r.core.Name, err))
					continue
				}
				lock.Lock()
				if _, err := growing.Write(line); err != nil {
					cancel(err)
				}
				lock.Unlock()
			}
		})
	}
	for i, r := range runs {
		if ctx.Err() != nil {
			break
		}
		if i%20 == 0 {
			fmt.Fprintf(os.Stderr, "\r%d of %d", i, len(runs))
		}
		next <- r
	}
	close(next)
	workers.Wait()
	fmt.Fprintln(os.Stderr)
	return context.Cause(ctx)
}

// measure measures one network on one core and returns the line to keep.
func (r *measured) measure(ctx context.Context) ([]byte, error) {
	dir, err := os.MkdirTemp("", "kerf-kernels-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	for name, content := range r.files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return nil, err
		}
	}
	options := measure.Options{Steps: steps, Apart: apart}
	if r.form == cost.Small {
		options.Flags = []string{"-DNET_PORTABLE"}
	}
	result, err := measure.Network(ctx, r.core, dir, "net", options)
	if err != nil {
		return nil, err
	}
	r.result = &record{Key: keyOf(r.files, r.core, r.form), Profile: r.core.Name,
		Network: cost.ShapeText(r.shape), Result: *result}
	line, err := json.Marshal(r.result)
	return append(line, '\n'), err
}
