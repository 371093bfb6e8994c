//go:build emulate

package emit

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"kerf/testdata/randomfront"
	"kerf/testdata/randomnet"
)

// frontSteps are the windows of every shape that each core runs; KERF_FRONT_WINDOWS sets another
// number, see "make front-long".
const frontSteps = 500

// Every core gives the integers of Go for all kinds of features on all shapes of windows, with
// another level of optimisation for each shape.
func TestFrontEndOnEmulatedCores(t *testing.T) {
	steps := frontSteps
	if text := os.Getenv("KERF_FRONT_WINDOWS"); text != "" {
		if _, err := fmt.Sscan(text, &steps); err != nil {
			t.Fatal(err)
		}
	}
	for i, c := range append(fastCores, avr) {
		t.Run(c.name, func(t *testing.T) {
			c.require(t)
			for j, shape := range randomfront.Shapes {
				t.Run(fmt.Sprint(shape), func(t *testing.T) {
					t.Parallel()
					random := rand.New(rand.NewPCG(uint64(j), 19))
					p := randomProgram(t, random, randomnet.OneGRU)
					front, encodings := randomfront.AllKinds(random, shape)
					p = setFront(p, random, front, encodings)
					c.compareFront(t, p, levels[(i+j)%len(levels)], uint32(j+1), steps)
				})
			}
		})
	}
}

// compareFront runs the front end on the core and compares it with Go window by window.
func (c core) compareFront(t *testing.T, p *Program, level string, seed uint32, steps int) {
	dir := t.TempDir()
	writeC(t, p, dir)
	out := c.compileAndRun(t, dir, level, append(frontMacros(p, seed, steps), "leakair_front.c",
		emulateFile("front_driver.c"))...)
	got, want := printed(out, "hash"), frontHashes(p, seed, steps)
	if step := firstUnequal(got, want); step >= 0 {
		t.Errorf("%s: window %d: C %s, Go %s; it wrote\n%s", level, step, element(got, step),
			element(want, step), tail([]byte(out)))
	}
}

// The self-test of a front end of all kinds passes on every core, and notices there as well that a
// baseline ends too late.
func TestFrontSelftestOnEmulatedCores(t *testing.T) {
	p := selftestProgram(t, 1)
	for i, c := range append(fastCores, avr) {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.require(t)
			dir := t.TempDir()
			writeC(t, p, dir)
			if got := c.selftest(t, dir, levels[i%len(levels)]); got != "0" {
				t.Errorf("the self-test returns %s", got)
			}
			path := filepath.Join(dir, "leakair_front.c")
			source, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			wrong := strings.Replace(string(source), "if (steps < 20U)",
				"if (steps < 21U)", 1)
			if err := os.WriteFile(path, []byte(wrong), 0o600); err != nil {
				t.Fatal(err)
			}
			if got := c.selftest(t, dir, levels[i%len(levels)]); got == "0" {
				t.Error("a baseline that ends a step later is not noticed")
			}
		})
	}
}

// selftest compiles the self-test of a folder and returns what it returns on a core.
func (c core) selftest(t *testing.T, dir, level string) string {
	out := c.compileAndRun(t, dir, level, "-DLEAKAIR_SELFTEST_NO_STDIO", "leakair.c",
		"leakair_front.c", "leakair_selftest.c", emulateFile("selftest_driver.c"))
	return element(printed(out, "selftest"), 0)
}

// compileAndRun compiles macros and sources in a folder and returns what the program prints.
func (c core) compileAndRun(t *testing.T, dir, level string, sources ...string) string {
	ctx, cancel := context.WithTimeout(context.Background(), compileLimit)
	defer cancel()
	args := append(c.compiler[1:len(c.compiler):len(c.compiler)], "-std=c99", level, "-I.")
	args = append(append(append(args, strict...), sources...), c.link...)
	cmd := exec.CommandContext(ctx, c.compiler[0], append(args, "-o", "program")...)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %v\n%s", cmd.Args, err, out)
	}
	out, err := c.run(dir)
	if err != nil {
		t.Fatal(err)
	}
	return out
}
