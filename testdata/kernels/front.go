package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"sync"

	"kerf/budget/cost"
	"kerf/targets"
	"kerf/targets/measure"
)

// frontRecords are the raw measurements of front ends.
var frontRecords = store{filepath.Join("testdata", "kernels", "fronts.jsonl.gz"),
	filepath.Join("testdata", "kernels", "fronts.growing.jsonl")}

// frontApart matches the functions that the emitted C of a front end keeps out of line.
var frontApart = regexp.MustCompile(`^net_(sample|features|begin|polar|scaled|scale_all|` +
	`root|ratio|distortion|leading|shifted|product|relative|fold\d+_lines?)$`)

// measuredFront is one front end on one core.
type measuredFront struct {
	*frontSample
	core   *targets.Profile
	result *record
}

// runFronts measures the front ends without a record, if it may, and fits and writes the figures.
func runFronts(ctx context.Context, mayMeasure bool) error {
	var runs []*measuredFront
	for _, judged := range []bool{false, true} {
		all, err := frontSamples(judged)
		if err != nil {
			return err
		}
		for _, s := range all {
			for _, name := range targets.Names() {
				p, err := targets.Load(name)
				if err != nil {
					return err
				}
				if judged || sameCode[name] == "" {
					runs = append(runs, &measuredFront{frontSample: s, core: p})
				}
			}
		}
	}
	records, err := frontRecords.read()
	if err != nil {
		return err
	}
	var missing []*measuredFront
	for _, r := range runs {
		if r.result = records[keyOf(r.files, r.core, cost.Fast)]; r.result == nil {
			missing = append(missing, r)
		}
	}
	if len(missing) > 0 && !mayMeasure {
		return fmt.Errorf("%d of %d measurements are missing: run without -fit", len(missing),
			len(runs))
	}
	if len(missing) > 0 {
		if err := measureFronts(ctx, missing); err != nil {
			return err
		}
		results := make([]*record, len(runs))
		for i, r := range runs {
			results[i] = r.result
		}
		if err := frontRecords.keep(results); err != nil {
			return err
		}
	}
	return fitFronts(runs)
}

// measureFronts measures on all processors of this machine and writes every result to the growing
// file as soon as it is there.
func measureFronts(ctx context.Context, runs []*measuredFront) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	growing, err := os.OpenFile(frontRecords.growing, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	defer growing.Close()
	var lock sync.Mutex
	next := make(chan *measuredFront)
	var workers sync.WaitGroup
	for range runtime.NumCPU() {
		workers.Go(func() {
			for r := range next {
				line, err := r.measure(ctx)
				if err != nil {
					cancel(fmt.Errorf("front end %s on %s: %w", r.text, r.core.Name, err))
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

// measure measures one front end on one core and returns the line to keep.
func (r *measuredFront) measure(ctx context.Context) ([]byte, error) {
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
	result, err := measure.FrontEnd(ctx, r.core, dir, "net", measure.Options{
		Apart: frontApart, Front: &measure.Front{Bits: r.bits, Samples: r.samples()}})
	if err != nil {
		return nil, err
	}
	r.result = &record{Key: keyOf(r.files, r.core, cost.Fast), Profile: r.core.Name,
		Network: r.text,
		Result: measure.Result{Front: result.Front, Tools: result.Tools,
			CyclesFrom: result.CyclesFrom}}
	line, err := json.Marshal(r.result)
	return append(line, '\n'), err
}
