// Benchtarget measures one step of the emitted C on every core, beside plain float C of the same
// network:
//
//	go run ./testdata/benchtarget
//
// README.md says what is compared.
package main

import (
	"context"
	_ "embed"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"

	"kerf/targets"
	"kerf/targets/measure"
)

//go:embed c/floatnet.c
var floatSource string

//go:embed c/floatnet.h
var floatHeader string

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := benchmark(ctx, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "benchtarget:", err)
		os.Exit(1)
	}
}

// levels are the optimisation flags of the emitted C: empty for those of the profile, and flags
// that firmware is built with.
var levels = []string{"", "-O1", "-O2", "-O3", "-Os -ffreestanding", "-O2 -ffreestanding",
	"-O2 -fno-builtin", unaligned}

// unaligned are flags that keep compilers from loads that are not aligned, on Arm.
const unaligned = "-O2 -mno-unaligned-access"

// floatLevel are the optimisation flags of the float C.
const floatLevel = "-O2"

// singlePrecision are further flags of the float C: the library of a core with a double-precision
// unit computes expf in double precision, for which the profiles have no costs.
var singlePrecision = map[string][]string{"cortex-m7": {"-mfpu=fpv5-sp-d16"}}

// floatSteps is the number of steps of the float C. Our choice: fewer than those of the emitted C,
// because software floating point takes long to emulate.
const floatSteps = 6

// row holds the results on one core.
type row struct {
	core  string
	flags string // optimisation flags of the profile
	// integer holds the results of the emitted C by network and level; nil: no flag of the core
	integer [][]*measure.Result
	plain   *measure.Result // of the first network, with rows of weights read by plain C
	float   *measure.Result // of the float C of the first network
}

// benchmark measures on every core and prints the table.
func benchmark(ctx context.Context, w io.Writer) error {
	dir, err := os.MkdirTemp("", "kerf-benchtarget-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	for _, n := range networks {
		if err := writeInteger(n, filepath.Join(dir, n.name)); err != nil {
			return err
		}
	}
	if err := writeFloat(networks[0].trained(), dir); err != nil {
		return err
	}
	var rows []row
	for _, core := range targets.Names() {
		r, err := onCore(ctx, core, dir)
		if err != nil {
			return fmt.Errorf("%s: %w", core, err)
		}
		rows = append(rows, r)
	}
	return printRows(w, rows)
}

// onCore measures the networks in dir on one core: net is the emitted C, in a folder for each
// network, floatnet the float C.
func onCore(ctx context.Context, core, dir string) (row, error) {
	r := row{core: core}
	p, err := targets.Load(core)
	if err != nil {
		return r, err
	}
	r.flags = p.Optimise
	for _, n := range networks {
		results := make([]*measure.Result, len(levels))
		for i, level := range levels {
			if level == unaligned && !strings.HasPrefix(p.ISA, "arm") {
				continue
			}
			if results[i], err = measure.Network(ctx, p, filepath.Join(dir, n.name), "net",
				measure.Options{Optimise: level}); err != nil {
				return r, err
			}
		}
		r.integer = append(r.integer, results)
	}
	if r.plain, err = measure.Network(ctx, p, filepath.Join(dir, networks[0].name), "net",
		measure.Options{Flags: []string{"-DNET_PORTABLE"}}); err != nil {
		return r, err
	}
	r.float, err = measure.Network(ctx, p, dir, "floatnet",
		measure.Options{Optimise: floatLevel, Steps: floatSteps, Float: true,
			Flags: singlePrecision[core]})
	return r, err
}
