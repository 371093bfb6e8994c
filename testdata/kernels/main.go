// Kernels measures the emitted C of many networks on every core and fits what budget estimates with:
//
//	go run ./testdata/kernels
//	go run ./testdata/kernels -table
//
// The first writes budget/kernels.toml and testdata/kernels/measured.csv; the second prints docs/cost.md, how far the
// estimates are off. README.md says how it is done.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"

	"kerf/targets"
	"kerf/targets/measure"
)

// steps of each measurement; the step takes nearly the same time whatever its input.
const steps = 2

func main() {
	table := flag.Bool("table", false, "print how far the estimates are off, instead of measuring")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	do := run
	if *table {
		do = func(context.Context) error { return printTable(os.Stdout) }
	}
	if err := do(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "kernels:", err)
		os.Exit(1)
	}
}

// measured is one network on one core.
type measured struct {
	sample
	core   *targets.Profile
	result *measure.Result
}

func run(ctx context.Context) error {
	dir, err := os.MkdirTemp("", "kerf-kernels-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	all := samples()
	for i, s := range all {
		files, err := s.files(uint64(i))
		if err != nil {
			return fmt.Errorf("network %d: %w", i, err)
		}
		place := filepath.Join(dir, strconv.Itoa(i))
		if err := os.Mkdir(place, 0o755); err != nil {
			return err
		}
		for name, content := range files {
			if err := os.WriteFile(filepath.Join(place, name), content, 0o644); err != nil {
				return err
			}
		}
	}
	var runs []*measured
	for _, name := range targets.Names() {
		p, err := targets.Load(name)
		if err != nil {
			return err
		}
		for _, s := range all {
			runs = append(runs, &measured{sample: s, core: p})
		}
	}
	if err := measureAll(ctx, runs, len(all), dir); err != nil {
		return err
	}
	sets, err := fitAll(runs)
	if err != nil {
		return err
	}
	return write(runs, sets)
}

// measureAll measures on all processors of this machine.
func measureAll(ctx context.Context, runs []*measured, samples int, dir string) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	next := make(chan int)
	var workers sync.WaitGroup
	for range runtime.NumCPU() {
		workers.Go(func() {
			for i := range next {
				r := runs[i]
				var err error
				if r.result, err = measure.Network(ctx, r.core, filepath.Join(dir, strconv.Itoa(i%samples)), "net", measure.Options{Steps: steps}); err != nil {
					cancel(fmt.Errorf("network %d on %s: %w", i%samples, r.core.Name, err))
				}
			}
		})
	}
	for i := range runs {
		if ctx.Err() != nil {
			break
		}
		if i%20 == 0 {
			fmt.Fprintf(os.Stderr, "\r%d of %d", i, len(runs))
		}
		next <- i
	}
	close(next)
	workers.Wait()
	fmt.Fprintln(os.Stderr)
	return context.Cause(ctx)
}
