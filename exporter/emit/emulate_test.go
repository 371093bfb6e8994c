//go:build emulate

package emit

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
)

// What runs where, with the steps of each run:
//
//	core                                  networks                  steps
//	Cortex-M0, M3, M4, M7, M33, RV32IMC   all 22, full size         20,480
//	host: clang with sanitizers, gcc -m32 all 22, full size         20,480
//	AVR                                   all 22, full size         256
//	AVR                                   all 22, cut to 2 units    20,480
//	host: gcc                             one, cut to 2 units       10,000,128
//
// Every run starts with the emitted self-test. Network i runs on core c at
// optimisation level (i + c) mod 4, so every core sees every level and every
// network sees every level. The emulated AVR does some 60 million cycles per
// second, a full-size network takes up to 0.5 million cycles per step; hence the cut.
const (
	blockSteps = 256 // steps between two hashes
	shortSteps = 80 * blockSteps
	longSteps  = 39063 * blockSteps
)

var levels = []string{"-Os", "-O2", "-O3", "-O1"}

// A driver on the core makes the same random inputs as Go, hashes every output
// byte and prints the hash after every block. Where a hash differs, the block
// is run again with all outputs printed, which names the step.
func TestEmulatedCoresGiveTheIntegersOfGo(t *testing.T) {
	full, cut := fullNetworks(t), cutNetworks(t)
	for i, c := range fastCores {
		c.try(t, i, full, shortSteps)
	}
	avr.try(t, len(fastCores), full, blockSteps)
	avr.try(t, len(fastCores), cut, shortSteps)
}

// try runs networks on a core; shift decides which level comes first.
func (c core) try(t *testing.T, shift int, networks []*emulated, steps int) {
	t.Run(fmt.Sprintf("%s, %d steps", c.name, steps), func(t *testing.T) {
		c.require(t)
		for i, n := range networks {
			level := levels[(i+shift)%len(levels)]
			t.Run(n.name+" "+level, func(t *testing.T) {
				t.Parallel()
				if err := c.compare(t, n, level, "leakair.c", steps); err != nil {
					t.Error(err)
				}
			})
		}
	})
}

// Ten million steps in one run, of a stack of recurrent layers: a difference
// that needs long to build up would show.
func TestTenMillionStepsGiveTheIntegersOfGo(t *testing.T) {
	if err := host.compare(t, stackedNetwork(t), "-O2", "leakair.c", longSteps); err != nil {
		t.Error(err)
	}
}

// One output that is too large by one is found and its step is named, in the
// self-test and in the random steps, with every way of reading a core's output.
func TestComparisonNamesTheFirstWrongStep(t *testing.T) {
	n := stackedNetwork(t)
	vectors := len(n.program.Vectors)
	for _, c := range []core{host, cortexM0, avr} {
		t.Run(c.name, func(t *testing.T) {
			c.require(t)
			for fault, want := range map[int]string{
				5: "self-test [6]",
				vectors + leastLong + 1777: fmt.Sprintf("step 1777, output %d: C",
					len(n.program.Net.Outputs)-1),
			} {
				err := c.compare(t, n, "-O2", emulateFile("fault.c"), 8*blockSteps,
					fmt.Sprintf("-DFAULT_AT=%dU", fault))
				if err == nil || !strings.Contains(err.Error(), want) {
					t.Errorf("fault at call %d: got %v, want an error with %q", fault, err, want)
				}
			}
		})
	}
}

// compare runs a network on the core and compares with the Go engine; network
// is leakair.c or a variant of it.
func (c core) compare(t *testing.T, n *emulated, level, network string, steps int,
	macros ...string) error {
	dir := t.TempDir()
	writeC(t, n.program, dir)
	macros = append(macros, fmt.Sprintf("-DSTEPS=%d", steps), fmt.Sprintf("-DSEED=%dU", n.seed),
		fmt.Sprintf("-DBLOCK=%dU", blockSteps))
	if err := c.build(dir, level, network, append(macros, "-DSHOW_BLOCK=-1")...); err != nil {
		return err
	}
	out, err := c.run(dir)
	if err != nil {
		return err
	}
	if result := printed(out, "self-test"); len(result) != 1 || result[0] != "0" {
		return fmt.Errorf("self-test %v; 0 is a pass, other values are 1 + the step that "+
			"differs; program wrote:\n%s", result, tail([]byte(out)))
	}
	if !strings.Contains(out, "finished") {
		return fmt.Errorf("the program ended early; it wrote:\n%s", tail([]byte(out)))
	}
	block := firstUnequal(printed(out, "hash"), n.hashes(steps))
	if block < 0 {
		return nil
	}
	if err := c.build(dir, level, network,
		append(macros, fmt.Sprintf("-DSHOW_BLOCK=%d", block))...); err != nil {
		return err
	}
	if out, err = c.run(dir); err != nil {
		return err
	}
	outputs := len(n.program.Net.Outputs)
	got, want := printed(out, "output"), n.outputs(block)
	i := firstUnequal(got, want)
	if i < 0 {
		return fmt.Errorf("hashes differ in the block of step %d, outputs do not", block*blockSteps)
	}
	return fmt.Errorf("step %d, output %d: C %s, Go %s", block*blockSteps+i/outputs, i%outputs,
		element(got, i), element(want, i))
}

// printed lists the values of all lines "what value". Some emulators colour lines.
func printed(out, what string) []string {
	var values []string
	for _, m := range regexp.MustCompile(`(?m)`+what+` (-?[0-9a-f]+)[.\r]*$`).FindAllStringSubmatch(
		out, -1) {
		values = append(values, m[1])
	}
	return values
}

// firstUnequal is the first index at which the lists differ, -1 if nowhere.
func firstUnequal(a, b []string) int {
	for i := range max(len(a), len(b)) {
		if element(a, i) != element(b, i) {
			return i
		}
	}
	return -1
}

func element(values []string, i int) string {
	if i < len(values) {
		return values[i]
	}
	return "nothing"
}
