//go:build emulate

package emit

import (
	"debug/elf"
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// sectionCore is a core with names of sections for weights and for code. The program for AVR keeps
// them by their place alone: avr-ld puts .progmem and .text sections in one, of which simavr knows
// the name.
type sectionCore struct {
	core
	rom, text string
	link      []string
	linked    []string    // sections of the program
	order     [][2]string // symbols of which the first lies before the second
}

// Weights, tables and the id go into the section that NAME_ROM names, every function of network and
// front end into that of NAME_TEXT, nothing of theirs lies elsewhere, and the linked program passes
// its self-test.
func TestSectionsOfTheirOwn(t *testing.T) {
	p := selftestProgram(t, 1)
	for _, c := range []sectionCore{
		{cortexM("cortex-m4", "cortex-m4", "mps2-an386", "0", "0x20000000", "0x400000"),
			".netweights", ".nettext", []string{"-Wl,--section-start=.netweights=0x200000",
				"-Wl,--section-start=.nettext=0x240000"}, []string{".netweights", ".nettext"},
			[][2]string{{"main", "leakair_id_word"}, {"leakair_id_word", "leakair_step"}}},
		{avr, ".progmem.netweights", ".text.net", nil, nil,
			[][2]string{{"leakair_id_word", "main"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.require(t)
			dir := t.TempDir()
			writeC(t, p, dir)
			macros := []string{
				fmt.Sprintf("-DLEAKAIR_ROM=__attribute__((section(%q)))", c.rom),
				fmt.Sprintf("-DLEAKAIR_TEXT=__attribute__((section(%q)))", c.text)}
			command := append(append(c.compiler[:len(c.compiler):len(c.compiler)], macros...),
				"-std=c99", "-O2", "-I.", "-DLEAKAIR_SELFTEST_NO_STDIO", "leakair.c",
				"leakair_front.c", "leakair_selftest.c", emulateFile("selftest_driver.c"))
			command = append(append(command, c.core.link...), c.link...)
			compile(t, dir, append(command, "-o", "program")...)
			c.checkProgram(t, filepath.Join(dir, "program"))
			out, err := c.run(dir)
			if err != nil {
				t.Fatal(err)
			}
			if got := element(printed(out, "selftest"), 0); got != "0" {
				t.Errorf("the self-test returns %s", got)
			}
			for source, symbols := range map[string][2]string{
				"leakair.c":       {"leakair_id_word", "leakair_step"},
				"leakair_front.c": {"leakair_scales", "leakair_features"},
			} {
				object := filepath.Join(dir, "object.o")
				compile(t, dir, append(append(c.compiler[:len(c.compiler):len(c.compiler)],
					macros...), "-std=c99", "-O2", "-c", source, "-o", object)...)
				c.checkObject(t, source, object, symbols)
			}
		})
	}
}

// checkObject looks for a constant and a function in the sections of their own, and for constants
// and code that lie elsewhere.
func (c *sectionCore) checkObject(t *testing.T, source, object string, symbols [2]string) {
	t.Helper()
	file, err := elf.Open(object)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for _, s := range file.Sections {
		if s.Flags&elf.SHF_ALLOC != 0 && s.Size > 0 && s.Name != c.rom && s.Name != c.text &&
			!strings.HasPrefix(s.Name, ".ARM.") {
			t.Errorf("%s: %d bytes lie in %s", source, s.Size, s.Name)
		}
	}
	all, err := file.Symbols()
	if err != nil {
		t.Fatal(err)
	}
	for i, section := range []string{c.rom, c.text} {
		found := ""
		for _, s := range all {
			if s.Name == symbols[i] && int(s.Section) < len(file.Sections) {
				found = file.Sections[s.Section].Name
			}
		}
		if found != section {
			t.Errorf("%s: %s lies in section %q, want %s", source, symbols[i], found, section)
		}
	}
}

// checkProgram looks for the sections in the linked program, and for the order of symbols.
func (c *sectionCore) checkProgram(t *testing.T, path string) {
	t.Helper()
	file, err := elf.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for _, name := range c.linked {
		if s := file.Section(name); s == nil || s.Size == 0 {
			t.Errorf("the program has no section %s", name)
		}
	}
	all, err := file.Symbols()
	if err != nil {
		t.Fatal(err)
	}
	place := map[string]uint64{} // of symbols
	for _, s := range all {
		place[s.Name] = s.Value
	}
	for _, pair := range c.order {
		if before, behind := place[pair[0]], place[pair[1]]; before >= behind {
			t.Errorf("%s lies at %#x, %s at %#x", pair[0], before, pair[1], behind)
		}
	}
}

// On AVR the network passes its self-test however the weights lie: with net.c alone compiled for
// weights in RAM, and with all files. The vectors stay in program memory. A compiler whose int has
// 8 bits is refused.
func TestWeightsInRAMOfAVR(t *testing.T) {
	avr.require(t)
	p := selftestProgram(t, 1)
	dir := t.TempDir()
	writeC(t, p, dir)
	const inRAM = "-DLEAKAIR_WEIGHTS_IN_RAM"
	base := append(avr.compiler[:len(avr.compiler):len(avr.compiler)], "-std=c99", "-O2",
		"-DLEAKAIR_SELFTEST_NO_STDIO")
	compile(t, dir, append(base, inRAM, "-c", "leakair.c", "-o", "net.o")...)
	for name, macros := range map[string][]string{"net.c alone": {"net.o"},
		"all files": {inRAM, "leakair.c"}} {
		out := avr.compileAndRun(t, dir, "-O2", append(macros, "-DLEAKAIR_SELFTEST_NO_STDIO",
			"leakair_front.c", "leakair_selftest.c", emulateFile("selftest_driver.c"))...)
		if got := element(printed(out, "selftest"), 0); got != "0" {
			t.Errorf("%s: the self-test returns %s", name, got)
		}
	}
	compile(t, dir, append(base, inRAM, "-c", "leakair_selftest.c", "-o", "selftest.o")...)
	file, err := elf.Open(filepath.Join(dir, "selftest.o"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for _, name := range []string{".data", ".rodata", ".bss"} {
		if s := file.Section(name); s != nil && s.Size > 16 { // the bits of converters
			t.Errorf("%d bytes of vectors lie in %s", s.Size, name)
		}
	}
	for _, source := range []string{"leakair.c", "leakair_front.c"} {
		cmd := exec.Command(base[0], append(base[1:], "-mint8", "-c", source, "-o", "int8.o")...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err == nil ||
			!strings.Contains(string(out), "int_has_16_bits") {
			t.Errorf("%s compiles with an int of 8 bits: %v %s", source, err, out)
		}
	}
}

// The same as TestRetainedStateIsRestoredWholeOrNotAtAll on emulated cores.
func TestRetainedStateOnEmulatedCores(t *testing.T) {
	p := stackedNetwork(t).program
	for _, c := range []core{cortexM0, avr} {
		t.Run(c.name, func(t *testing.T) {
			c.require(t)
			dir := t.TempDir()
			writeC(t, p, dir)
			driver, err := filepath.Abs(filepath.Join("testdata", "retained.c"))
			if err != nil {
				t.Fatal(err)
			}
			out := c.compileAndRun(t, dir, "-Os", "-DLEAKAIR_WITH_RETAINED", driver)
			if len(printed(out, "refused")) != 1 {
				t.Errorf("it wrote %s", tail([]byte(out)))
			}
		})
	}
}

// The self-test with everything that it can be compiled with passes on emulated cores, with a front
// end and without one.
func TestWholeSelftestOnEmulatedCores(t *testing.T) {
	plain := stackedNetwork(t).program
	front := selftestProgram(t, 1)
	all := []string{"-DLEAKAIR_WITH_FLOAT", "-DLEAKAIR_WITH_ENCODE_ONE",
		"-DLEAKAIR_SELFTEST_NO_STDIO", "leakair.c", "leakair_selftest.c",
		emulateFile("selftest_driver.c")}
	for i, c := range append(fastCores[:len(fastCores):len(fastCores)], avr) {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.require(t)
			for _, p := range []*Program{plain, front} {
				dir, sources := t.TempDir(), all
				writeC(t, p, dir)
				if p.Front != nil {
					sources = append(all[:len(all):len(all)], "leakair_front.c")
				}
				out := c.compileAndRun(t, dir, levels[i%len(levels)], sources...)
				if got := element(printed(out, "selftest"), 0); got != "0" {
					t.Errorf("front end %v: the self-test returns %s", p.Front != nil, got)
				}
			}
		})
	}
}
