//go:build emulate

package emit

import (
	"fmt"
	"os/exec"
	"strings"
	"testing"
)

// kernelCores are emulated cores, one for each kernel in assembler.
var kernelCores = append(fastCores[:3:3], fastCores[5], avr)

// Every kernel reads every number of columns, in the three word widths in turn: the self-test
// passes, and so do random steps.
func TestKernelsReadEveryNumberOfColumns(t *testing.T) {
	for i, columns := range columnCounts {
		for k, c := range kernelCores {
			bits := []int{4, 8, 16}[(i+k)%3]
			n := &emulated{name: fmt.Sprintf("int%d, %d columns", bits, columns),
				program: columnsProgram(t, bits, columns), seed: uint32(1 + columns)}
			t.Run(c.name+", "+n.name, func(t *testing.T) {
				c.require(t)
				t.Parallel()
				if err := c.compare(t, n, levels[i%len(levels)], "leakair.c",
					blockSteps); err != nil {
					t.Error(err)
				}
			})
		}
	}
}

// Kernels keep to the calling convention whatever the code around them is compiled with: without
// optimisation, with a frame pointer, position-independent, and across files.
func TestKernelsWithOptionsOfOtherBuilds(t *testing.T) {
	networks := cutNetworks(t)
	for _, c := range kernelCores {
		for i, options := range []string{"-O0", "-Og", "-O2 -flto", "-O1 -fno-omit-frame-pointer",
			"-Os -fPIC", "-O2 -ffreestanding"} {
			if c.name == avr.name && strings.Contains(options, "-fPIC") {
				continue // its compiler has none
			}
			n := networks[(5*i)%len(networks)]
			t.Run(c.name+" "+options, func(t *testing.T) {
				c.require(t)
				t.Parallel()
				if err := c.compare(t, n, options, "leakair.c", 4*blockSteps); err != nil {
					t.Error(err)
				}
			})
		}
	}
}

// Clang's assembler gives the same integers, in a program that GCC links.
func TestKernelsCompiledByClang(t *testing.T) {
	networks := cutNetworks(t)
	for i, options := range [][]string{{"--target=arm-none-eabi", "-mthumb", "-mcpu=cortex-m0"},
		{"--target=arm-none-eabi", "-mthumb", "-mcpu=cortex-m3"},
		{"--target=arm-none-eabi", "-mthumb", "-mcpu=cortex-m4", "-mfloat-abi=soft"},
		{"--target=riscv32", "-march=rv32imc", "-mabi=ilp32"}} {
		c := kernelCores[i]
		c.clang = options
		t.Run(c.name, func(t *testing.T) {
			c.require(t)
			t.Parallel()
			for k, level := range []string{"-Os", "-O2", "-O0"} {
				n := networks[(i+4*k)%len(networks)]
				if err := c.compare(t, n, level, "leakair.c", 4*blockSteps); err != nil {
					t.Errorf("%s %s: %v", n.name, level, err)
				}
			}
		})
	}
}

// Clang reads constants of 8-bit AVR from RAM, where they are not: it is refused, also in plain C.
func TestKernelsAreRefusedByClangOnAVR(t *testing.T) {
	avr.require(t)
	dir := t.TempDir()
	writeC(t, columnsProgram(t, 8, 4), dir)
	for _, form := range []string{"-DLEAKAIR_PORTABLE", "-ULEAKAIR_PORTABLE"} {
		clang := exec.Command("clang", "--target=avr", "-mmcu=atmega1284p",
			"-I/usr/lib/avr/include", "-std=c99", form, "-c", "leakair.c", "-o", "leakair.o")
		clang.Dir = dir
		if out, err := clang.CombinedOutput(); err == nil ||
			!strings.Contains(string(out), "compile this file with GCC") {
			t.Errorf("%s: %v\n%s", form, err, out)
		}
	}
}

// The kernels and plain C (-DLEAKAIR_PORTABLE) in one program give the same outputs in 100,000
// random steps, on AVR 4,000.
func TestKernelsAndPlainCInOneProgram(t *testing.T) {
	networks := cutNetworks(t)
	for i, c := range kernelCores {
		t.Run(c.name, func(t *testing.T) {
			c.require(t)
			t.Parallel()
			steps := 100_000
			if c.name == avr.name {
				steps = 4_000
			}
			n := networks[(7*i)%len(networks)]
			dir := t.TempDir()
			writeC(t, n.program, dir)
			command := append(c.compiler[:len(c.compiler):len(c.compiler)], "-std=c99", "-Os",
				"-I.", fmt.Sprintf("-DSTEPS=%d", steps), fmt.Sprintf("-DSEED=%dU", n.seed))
			command = append(append(command, strict...), "leakair.c", emulateFile("plain.c"),
				emulateFile("both.c"))
			compile(t, dir, append(append(command, c.link...), "-o", "program")...)
			out, err := c.run(dir)
			if err != nil {
				t.Fatal(err)
			}
			if got := printed(out, "same"); len(got) != 1 || got[0] != fmt.Sprint(steps) {
				t.Errorf("%s: the program wrote %q, want same %d", n.name, out, steps)
			}
		})
	}
}
