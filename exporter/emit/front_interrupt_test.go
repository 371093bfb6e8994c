//go:build emulate

package emit

import (
	"bufio"
	"context"
	"debug/elf"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"kerf/frontend"
	"kerf/testdata/randomfront"
	"kerf/testdata/randomnet"
)

// interrupting is a core with an interrupt at a chosen instant.
type interrupting struct {
	core
	source string // in testdata/emulate, implements interrupt.h
	macros []string
}

// interruptingCores returns every core with its interrupt. An instruction takes a nanosecond of the
// emulated time; SysTick ticks with 16 MHz on the first board, with 25 MHz on those of Armv7-M,
// with 20 MHz on the last (QEMU's source, hw/arm/nrf51_soc.c, mps2.c, mps2-tz.c).
func interruptingCores() []interrupting {
	ticks := map[string]int{"cortex-m0": 1000, "cortex-m3": 640, "cortex-m4": 640, "cortex-m7": 640,
		"cortex-m33": 800}
	cores := []interrupting{{core: host, source: "interrupt_host.c"},
		{core: avr, source: "interrupt_avr.c"}}
	for _, c := range fastCores {
		i := interrupting{core: c}
		switch {
		case strings.HasPrefix(c.name, "cortex-m"):
			i.source = "interrupt_cortex-m.c"
			i.macros = []string{fmt.Sprintf("-DTICKS_16=%dU", ticks[c.name])}
		case c.name == "rv32imc":
			i.source = "interrupt_riscv.c"
		case c.name == "host, gcc, 32 bits":
			i.source = "interrupt_host.c"
		default:
			continue // a sanitizer steps through itself
		}
		if c.emulator != nil {
			i.emulator = append([]string{c.emulator[0], "-icount", "shift=0,sleep=off"},
				c.emulator[1:]...)
		}
		cores = append(cores, i)
	}
	return cores
}

// interruptedFronts have the features of every kind, a few at a time, so that a simulated 8-bit
// core gets through all instants of a call.
var interruptedFronts = []struct {
	shape    [3]int // samples, cycles, bits
	features []string
}{
	{[3]int{16, 1, 12}, []string{"level", "slope", "trend", "minimum", "maximum", "swing"}},
	{[3]int{15, 1, 16}, []string{"amplitude(1)", "phase(1)", "phase(1, other)"}},
	{[3]int{16, 1, 10}, []string{"relative", "distortion(5)"}},
	{[3]int{14, 1, 8}, []string{"rms", "ripple"}},
}

// interruptedFront is the program of one of the front ends.
func interruptedFront(t *testing.T, number int) *Program {
	shape, features := interruptedFronts[number].shape, interruptedFronts[number].features
	random := rand.New(rand.NewPCG(4, 19))
	p := randomProgram(t, random, randomnet.OneGRU)
	all, encodings := randomfront.AllKinds(random, shape)
	front, used := *all, []frontend.Encoding(nil)
	front.Features = nil
	for i, f := range all.Features {
		if f.Channel == 0 && slices.Contains(features, f.Definition.String()) {
			front.Features, used = append(front.Features, f), append(used, encodings[i])
		}
	}
	if len(used) != len(features) {
		t.Fatalf("%d features of %v", len(used), features)
	}
	return setFront(p, random, &front, used)
}

// smallNetwork is the program of a network whose step is short.
func smallNetwork(t *testing.T) *Program {
	for seed := uint64(0); ; seed++ {
		p := randomProgram(t, rand.New(rand.NewPCG(seed, 20)), randomnet.OneGRU)
		if p.Net.Layers[0].Units <= 4 && len(p.Net.Features) <= 6 {
			p.Name = "network"
			return p
		}
	}
}

// givenByte is in both bytes of every given feature.
const givenByte = 0x11

// windowsHeader returns windows.h: codes of four windows, and their features by package frontend.
func windowsHeader(p *Program) string {
	const windows = 4
	var b strings.Builder
	f := p.newFront()
	codes := randomfront.Codes(7, p.Front.Integer.Front, windows)
	fmt.Fprintf(&b, "static const uint16_t codes[%d][LEAKAIR_WINDOW][LEAKAIR_N_CHANNELS] = {\n",
		windows)
	for w := range windows {
		b.WriteString("{")
		for n := range f.samples() {
			b.WriteString("{")
			for _, c := range f.channels {
				fmt.Fprintf(&b, "%d,", codes[c.index][w*f.samples()+n])
			}
			b.WriteString("},")
		}
		b.WriteString("},\n")
	}
	b.WriteString("};\n")
	row := func(computed []int16) string {
		x := make([]string, len(p.Net.Features))
		for i := range x {
			x[i] = fmt.Sprint(givenByte<<8 | givenByte)
		}
		for i, at := range p.Front.Index {
			x[at] = fmt.Sprint(computed[i])
		}
		return strings.Join(x, ",")
	}
	fmt.Fprintf(&b, "static const int16_t features[%d][LEAKAIR_N_FEATURES] = {\n", windows)
	for _, computed := range p.Front.Integer.Encode(codes, windows) {
		fmt.Fprintf(&b, "{%s},\n", row(computed))
	}
	last := make([][]uint16, len(codes))
	for c := range codes {
		last[c] = codes[c][(windows-1)*f.samples():]
	}
	fmt.Fprintf(&b, "};\nstatic const int16_t features_after_reset[LEAKAIR_N_FEATURES] = {%s};\n",
		row(p.Front.Integer.Encode(last, 1)[0]))
	return b.String()
}

// undisturbedCall is a call by the function undisturbed of front_interrupt.c.
type undisturbedCall struct {
	function string
	number   int // the first is 1
}

// undisturbedCalls are those of a function, and of the one that it may be a part of.
var undisturbedCalls = map[string][2]undisturbedCall{
	"features": {{"leakair_features", 3}, {"call_features", 3}},
	"reset":    {{"leakair_front_reset", 2}, {"call_reset", 1}},
}

// addresses returns where a function begins and ends.
func (c *interrupting) addresses(dir, name string) (start, end uint64, err error) {
	out, err := exec.Command(strings.TrimSuffix(c.compiler[0], "gcc")+"nm", "-S",
		filepath.Join(dir, "program")).Output()
	m := regexp.MustCompile(`(?m)^([0-9a-f]+) ([0-9a-f]+) [tT] ` + name + `$`).FindSubmatch(out)
	if err != nil || m == nil {
		return 0, 0, fmt.Errorf("%s is not in the program: %v", name, err)
	}
	start, _ = strconv.ParseUint(string(m[1]), 16, 64)
	size, err := strconv.ParseUint(string(m[2]), 16, 64)
	return start, start + size, err
}

// executed returns the instructions that the undisturbed call executes, from a log of
// the emulator.
func (c *interrupting) executed(dir, name string) ([]uint64, error) {
	calls := undisturbedCalls[name]
	call := calls[0].number
	entry, _, err := c.addresses(dir, calls[0].function)
	if err != nil {
		call = calls[1].number
		if entry, _, err = c.addresses(dir, calls[1].function); err != nil {
			return nil, err
		}
	}
	first, behind, err := c.addresses(dir, "undisturbed")
	if err != nil {
		return nil, err
	}
	if c.emulator[0] == "simavr" {
		return executedInSimavr(dir, entry, first, behind, call)
	}
	ctx, cancel := context.WithTimeout(context.Background(), runLimit)
	defer cancel()
	read, write, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	defer read.Close()
	args := append([]string{"-d", "in_asm,exec,nochain", "-D", "/dev/fd/3"}, c.emulator[1:]...)
	cmd := exec.CommandContext(ctx, c.emulator[0], append(args, filepath.Join(dir, "program"))...)
	cmd.ExtraFiles = []*os.File{write}
	err = cmd.Start()
	write.Close()
	if err != nil {
		return nil, err
	}
	all, err := executedInLog(read, entry, first, behind, call)
	cancel() // the rest of the program is of no interest
	cmd.Wait()
	return all, err
}

// executedInLog follows the log of QEMU, which has the instructions of each block that it
// translates ("0x0000012c: 4770 bx lr") and a line "Trace" with the place of the block ahead of
// each execution, which a line "Stopped execution" takes back.
func executedInLog(log io.Reader, entry, first, behind uint64, call int) (all []uint64, err error) {
	blocks := map[string][]uint64{}
	var translated, pending []uint64
	isInside := false
	lines := bufio.NewScanner(log)
	for lines.Scan() {
		line := lines.Text()
		switch {
		case strings.HasPrefix(line, "IN:"):
			translated = nil
		case strings.HasPrefix(line, "0x"):
			digits, _, _ := strings.Cut(line[len("0x"):], ":")
			address, err := strconv.ParseUint(digits, 16, 64)
			if err != nil {
				return nil, err
			}
			translated = append(translated, address)
		case strings.HasPrefix(line, "Stopped execution"):
			pending = nil
		case strings.HasPrefix(line, "Trace"):
			for _, pc := range pending {
				if isInside && first <= pc && pc < behind {
					return all, nil
				}
				if !isInside && pc == entry {
					call--
					isInside = call == 0
				}
				if isInside {
					all = append(all, pc)
				}
			}
			_, rest, _ := strings.Cut(line, ": ")
			place, _, _ := strings.Cut(rest, " [")
			if translated != nil {
				blocks[place], translated = translated, nil
			}
			pending = blocks[place]
		}
	}
	return nil, fmt.Errorf("the log ends before the call does: %v", lines.Err())
}

// executedInSimavr runs the program with a tracer that is compiled for the host.
func executedInSimavr(dir string, entry, first, behind uint64, call int) ([]uint64, error) {
	tracer := filepath.Join(dir, "trace_pc_avr")
	if out, err := exec.Command("gcc", "-O2", emulateFile("trace_pc_avr.c"), "-o", tracer,
		"-lsimavr").CombinedOutput(); err != nil {
		return nil, fmt.Errorf("the tracer needs the Debian package libsimavr-dev: %w\n%s", err,
			out)
	}
	hex := func(v uint64) string { return strconv.FormatUint(v, 16) }
	out, err := exec.Command(tracer, filepath.Join(dir, "program"), hex(entry),
		strconv.Itoa(call), hex(first), hex(behind)).Output()
	if err != nil {
		return nil, err
	}
	var all []uint64
	for _, text := range printed(string(out), "executed") {
		pc, err := strconv.ParseUint(text, 16, 64)
		if err != nil {
			return nil, err
		}
		all = append(all, pc)
	}
	return all, nil
}

// buildInterrupted compiles the program that interrupts itself.
func (c *interrupting) buildInterrupted(dir, level string, p *Program) error {
	ctx, cancel := context.WithTimeout(context.Background(), compileLimit)
	defer cancel()
	if err := os.WriteFile(filepath.Join(dir, "windows.h"), []byte(windowsHeader(p)),
		0o644); err != nil {
		return err
	}
	args := append(c.compiler[1:len(c.compiler):len(c.compiler)], "-std=gnu99", "-I.")
	args = append(args, strings.Fields(level)...)
	args = append(args, "-I"+emulateFile(""), fmt.Sprintf("-DGIVEN_BYTE=%d", givenByte),
		"-DSTEP_STRIDE=97")
	args = append(args, c.macros...)
	args = append(args, "leakair_front.c", "network.c", emulateFile("front_interrupt.c"),
		emulateFile(c.source))
	args = append(args, c.link...)
	cmd := exec.CommandContext(ctx, c.compiler[0], append(args, "-o", "program")...)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%v: %w\n%s", cmd.Args, err, out)
	}
	return nil
}

// interruption is an interrupt during a call: before which instruction, and what net_sample said.
type interruption struct {
	pc     uint64
	answer int
}

// interruptions reads the lines of a call from the output of front_interrupt.c.
func interruptions(out, call string) (all []interruption) {
	line := regexp.MustCompile(`(?m)` + call + ` ([0-9a-f]+) ([0-2])[.\r]*$`)
	for _, m := range line.FindAllStringSubmatch(out, -1) {
		pc, _ := strconv.ParseUint(m[1], 16, 64)
		answer, _ := strconv.Atoi(m[2])
		all = append(all, interruption{pc, answer})
	}
	return all
}

// distinct returns how many instructions were interrupted.
func distinct(all []interruption) int {
	places := map[uint64]bool{}
	for _, i := range all {
		places[i.pc] = true
	}
	return len(places)
}

// notInterrupted returns the instructions of a call before which no interrupt came, without those
// that run with interrupts off: avr-gcc changes the stack pointer behind cli, and writes SREG back
// two instructions later. One more still runs then (AVR instruction set manual, SEI), in simavr
// two.
func notInterrupted(dir string, executed []uint64, all []interruption, c *interrupting) ([]uint64,
	error) {
	const cli = 0x94f8
	program, err := elf.Open(filepath.Join(dir, "program"))
	if err != nil {
		return nil, err
	}
	defer program.Close()
	text, err := program.Section(".text").Data()
	if err != nil {
		return nil, err
	}
	came := map[uint64]bool{}
	for _, i := range all {
		came[i.pc] = true
	}
	var missing []uint64
	for i, pc := range executed {
		if came[pc] || slices.Contains(missing, pc) {
			continue
		}
		isOff := false
		for _, before := range executed[max(0, i-4):i] {
			at := before - program.Section(".text").Addr
			isOff = isOff || c.name == "avr" && binary.LittleEndian.Uint16(text[at:]) == cli
		}
		if !isOff {
			missing = append(missing, pc)
		}
	}
	return missing, nil
}

// net_sample may interrupt net_features, net_front_reset and net_step before any instruction. On
// every core calls that begin the same way are interrupted again and again, the first time an
// instant later each time, until a sample is taken; the features are those of Go, and so are those
// of the next window, of which that sample is the first. Where instructions are emulated, the log
// of the emulator says which were executed: an interrupt came before each of them.
func TestSampleMayInterruptAnywhere(t *testing.T) {
	network := smallNetwork(t)
	for i, c := range interruptingCores() {
		t.Run(c.name, func(t *testing.T) {
			c.require(t)
			if c.emulator == nil && runtime.GOARCH != "amd64" {
				t.Skip("the host is NOT tested: the trap flag is that of an x86 processor")
			}
			for j := range interruptedFronts {
				if c.emulator == nil && j%3 != 0 {
					continue // a signal for each instruction takes minutes
				}
				t.Run(strings.Join(interruptedFronts[j].features, " "), func(t *testing.T) {
					level := levels[(i+j)%len(levels)]
					p := interruptedFront(t, j)
					dir := t.TempDir()
					writeC(t, p, dir)
					writeC(t, network, dir)
					c.interruptEverywhere(t, dir, level, p)
				})
			}
		})
	}
}

// C that lets net_sample go on too early, or does not keep it off, is found.
func TestInterruptsFindASampleThatComesTooEarly(t *testing.T) {
	network := smallNetwork(t)
	for _, c := range interruptingCores() {
		if c.name != "cortex-m3" && c.name != "avr" {
			continue
		}
		t.Run(c.name, func(t *testing.T) {
			c.require(t)
			for name, change := range map[string][2]string{
				"cleared before the sums are": {
					"    f->taken = 0;\n    LEAKAIR_BARRIER();\n    f->full = 0;\n}",
					"    f->full = 0;\n    LEAKAIR_BARRIER();\n    f->taken = 0;\n}"},
				"cleared before the features are computed": {
					"        return;\n    }\n    LEAKAIR_BARRIER();\n",
					"        return;\n    }\n    f->full = 0;\n    LEAKAIR_BARRIER();\n"},
				"reset without keeping off": {
					"    f->full = 1; /* leakair_sample keeps off */\n", ""},
			} {
				t.Run(name, func(t *testing.T) {
					p := interruptedFront(t, 0)
					dir := t.TempDir()
					writeC(t, p, dir)
					writeC(t, network, dir)
					path := filepath.Join(dir, "leakair_front.c")
					text, err := os.ReadFile(path)
					if err != nil || !strings.Contains(string(text), change[0]) {
						t.Fatal("the text to change is not there", err)
					}
					changed := strings.Replace(string(text), change[0], change[1], 1)
					if err := os.WriteFile(path, []byte(changed), 0o644); err != nil {
						t.Fatal(err)
					}
					if err := c.buildInterrupted(dir, "-O1", p); err != nil {
						t.Fatal(err)
					}
					// A program that found something ends with 1, which simavr does not pass on.
					out, err := c.run(dir)
					if !strings.Contains(fmt.Sprint(out, err), "wrong") {
						t.Errorf("nothing was found; it wrote\n%s", tail([]byte(out)))
					}
				})
			}
		})
	}
}

// The same holds where the compiler sees the interrupt and what it interrupts at once.
func TestSampleMayInterruptAnywhereInlined(t *testing.T) {
	network := smallNetwork(t)
	for _, c := range interruptingCores() {
		if c.name != "cortex-m0" && c.name != "cortex-m4" && c.name != "avr" {
			continue
		}
		t.Run(c.name, func(t *testing.T) {
			c.require(t)
			p := interruptedFront(t, 0)
			dir := t.TempDir()
			writeC(t, p, dir)
			writeC(t, network, dir)
			c.interruptEverywhere(t, dir, "-O3 -flto", p)
		})
	}
}

// interruptEverywhere builds the program for the core, runs it, and checks where interrupts came.
func (c *interrupting) interruptEverywhere(t *testing.T, dir, level string, p *Program) {
	if err := c.buildInterrupted(dir, level, p); err != nil {
		t.Fatal(err)
	}
	out, err := c.run(dir)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out, "finished") || strings.Contains(out, "wrong") {
		t.Fatalf("it wrote\n%s", tail([]byte(out)))
	}
	for call := range undisturbedCalls {
		all := interruptions(out, call)
		for _, answer := range []int{0, 2} {
			if !slices.ContainsFunc(all, func(i interruption) bool { return i.answer == answer }) {
				t.Errorf("%s: no sample was answered with %d", call, answer)
			}
		}
		if c.emulator == nil {
			t.Logf("%s %s: interrupted before %d instructions", call, level, distinct(all))
			continue
		}
		executed, err := c.executed(dir, call)
		if err != nil {
			t.Fatal(err)
		}
		missing, err := notInterrupted(dir, executed, all, c)
		if err != nil {
			t.Fatal(err)
		}
		interrupts := printed(out, call+": interrupts")
		if n, err := strconv.Atoi(element(interrupts, 0)); err != nil || n < len(executed) {
			t.Errorf("%s: %v interrupts, for %d instructions", call, interrupts, len(executed))
		}
		slices.Sort(executed)
		t.Logf("%s %s: interrupted before %d instructions, %d of the call, which are executed "+
			"%d times", call, level, distinct(all),
			len(slices.Compact(slices.Clone(executed))), len(executed))
		if len(missing) > 0 {
			t.Errorf("%s: no interrupt came before %d instructions, such as %#x", call,
				len(missing), missing[0])
		}
	}
}
