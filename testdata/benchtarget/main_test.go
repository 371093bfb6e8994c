package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/targets/measure"
)

// The float C computes the network: its outputs on the host are those of the float engine, but for
// the rounding of single precision.
func TestFloatCComputesTheNetwork(t *testing.T) {
	const steps, tolerance = 50, 1e-4
	dir := t.TempDir()
	n := networks[0]
	net, features, outputs := n.trained(), n.features, n.outputs
	if err := writeFloat(net, dir); err != nil {
		t.Fatal(err)
	}
	rec := n.recordings().Sequences[0]
	var inputs strings.Builder
	for _, v := range rec.X[:steps*features] {
		fmt.Fprintln(&inputs, v)
	}
	driver := `#include "floatnet.h"
#include <stdio.h>
int main(void)
{
    floatnet_state s;
    float x[FLOATNET_N_FEATURES], y[FLOATNET_N_OUTPUTS];
    floatnet_reset(&s);
    for (;;) {
        for (int i = 0; i < FLOATNET_N_FEATURES; i++) {
            if (scanf("%f", &x[i]) != 1) {
                return 0;
            }
        }
        floatnet_step(&s, x, y);
        for (int i = 0; i < FLOATNET_N_OUTPUTS; i++) {
            printf("%.9g\n", (double)y[i]);
        }
    }
}
`
	if err := os.WriteFile(filepath.Join(dir, "driver.c"), []byte(driver), 0o644); err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(dir, "driver")
	if out, err := exec.Command("gcc", "-std=c99", "-O2", "-Wall", "-Wextra", "-Werror",
		filepath.Join(dir, "driver.c"), filepath.Join(dir, "floatnet.c"), "-lm", "-o",
		program).CombinedOutput(); err != nil {
		t.Fatalf("gcc: %v\n%s", err, out)
	}
	cmd := exec.Command(program)
	cmd.Stdin = strings.NewReader(inputs.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	run := net.NewRun()
	want := make([]float64, outputs)
	lines := bytes.NewReader(out)
	largest := 0.0
	for step := range steps {
		run.Step(rec.X[step*features:(step+1)*features], want)
		for o := range want {
			var got float64
			if _, err := fmt.Fscan(lines, &got); err != nil {
				t.Fatalf("step %d: %v", step, err)
			}
			largest = max(largest, math.Abs(want[o]))
			if math.Abs(got-want[o]) > tolerance {
				t.Fatalf("step %d, output %d: C %v, Go %v", step, o, got, want[o])
			}
		}
	}
	if largest < 0.1 {
		t.Errorf("largest output %v: the network does nothing", largest)
	}
}

// 3 gates of 16 units with 20 features and 16 units each, and 2 outputs of 16 units.
func TestMultiplyAccumulates(t *testing.T) {
	if n := networks[0].perStep(); n != 1760 {
		t.Errorf("%g multiply-accumulates, want 1760", n)
	}
}

func TestPrintRows(t *testing.T) {
	integer := &measure.Result{Flash: 3000, Constants: 2000, StackChain: 316,
		Cycles: []float64{4400, 4400}, Instructions: []int64{3520, 3520}}
	float := &measure.Result{Flash: 9000, Constants: 7000, Cycles: []float64{20000, 24000},
		Instructions: []int64{1, 1}, Tools: []measure.Tool{{Name: "gcc", Version: "12"}}}
	plain := &measure.Result{Flash: 2700, Constants: 2000, Cycles: []float64{11000},
		Instructions: []int64{1}}
	var b bytes.Buffer
	all := make([][]*measure.Result, len(networks))
	for i := range all {
		all[i] = []*measure.Result{integer, integer, nil, nil, nil, nil, nil, nil}
	}
	if err := printRows(&b, []row{{"core", "-O2", all, plain, float},
		{"core2", "-Os", all, plain, float}}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"| core | 2.50 | 2.50 | | | | | | |",
		"| core | -O2 | 4400 | 3520 | 1000 | 316 | 2.50 | 700 | 22000 (20000..24000) | 5.0 | 2000 |",
	} {
		if !slices.ContainsFunc(strings.Split(b.String(), "\n"), func(line string) bool {
			return strings.Join(strings.Fields(line), " ") == want
		}) {
			t.Errorf("no row %q in\n%s", want, b.String())
		}
	}
	if strings.Count(b.String(), "gcc 12") != 1 {
		t.Errorf("tools are not listed once:\n%s", b.String())
	}
}
