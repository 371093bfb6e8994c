//go:build emulate

package emit

import (
	"debug/elf"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// The check finds every flipped bit of the section on a core of each family, whose kernels store
// weights each in their own way, and with plain C. The network is cut, with words of 4, 8 and 16
// bits.
func TestSectionsOfFlippedBits(t *testing.T) {
	driver, err := filepath.Abs(filepath.Join("testdata", "check.c"))
	if err != nil {
		t.Fatal(err)
	}
	p := everyWord(t).program
	plain := fastCores[1]
	plain.name += ", plain C"
	plain.compiler = append(plain.compiler[:len(plain.compiler):len(plain.compiler)],
		"-DLEAKAIR_PORTABLE")
	for _, c := range append(fastCores[:3:3], fastCores[5], avr, plain) {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.require(t)
			dir := t.TempDir()
			writeObjects(t, p, dir)
			checkFlips(t, p, c.compileAndRun(t, dir, "-O2", "-DLEAKAIR_WITH_CHECK",
				"-DLEAKAIR_WEIGHTS_IN_RAM", driver))
		})
	}
}

// everyWord returns the smallest cut network with weights of 4, 8 and 16 bits.
func everyWord(t *testing.T) *emulated {
	t.Helper()
	var smallest *emulated
	for _, n := range cutNetworks(t) {
		words := map[int]bool{}
		for _, m := range n.program.Net.Matrices() {
			words[m.WordBits] = true
		}
		if len(words) == 3 && (smallest == nil || n.program.Net.Shape().WeightBytes() <
			smallest.program.Net.Shape().WeightBytes()) {
			smallest = n
		}
	}
	if smallest == nil {
		t.Fatal("no network has all words")
	}
	return smallest
}

// The section of another network, put over that of a linked program, makes it the other network
// where shapes and formats are the same: the outputs are the other's, and so is the id. A section
// of another shape or format is refused, as is erased flash.
func TestSectionsOfAnotherNetwork(t *testing.T) {
	const own = ".netweights"
	rv32 := fastCores[5]
	for _, c := range []struct {
		core
		objcopy, start string
	}{
		{cortexM0, "arm-none-eabi-objcopy", "0x20000"},
		{fastCores[1], "arm-none-eabi-objcopy", "0x200000"},
		{fastCores[2], "arm-none-eabi-objcopy", "0x200000"},
		{rv32, "riscv64-unknown-elf-objcopy", "0x80100000"},
	} {
		for _, level := range levels {
			t.Run(c.name+level, func(t *testing.T) {
				t.Parallel()
				c.require(t)
				driver, err := filepath.Abs(filepath.Join("testdata", "replaced.c"))
				if err != nil {
					t.Fatal(err)
				}
				// run compiles a program and returns its folder, what it prints and its section.
				run := func(p *Program) (string, string, []byte) {
					dir := t.TempDir()
					writeC(t, p, dir)
					out := c.compileAndRun(t, dir, level, "-DLEAKAIR_WITH_CHECK",
						`-DLEAKAIR_ROM=__attribute__((section("`+own+`")))`,
						"-Wl,--section-start="+own+"="+c.start, "leakair.c", driver)
					return dir, out, sectionOf(t, filepath.Join(dir, "program"), own)
				}
				p := everyWord(t).program
				dir, first, section := run(p)
				for _, l := range p.Net.Layers {
					for i := range l.Input.W { // what bounds the accumulators stays
						l.Input.W[i] = -l.Input.W[i]
					}
				}
				for _, d := range p.Net.Dense {
					for o := range d.Offset {
						d.Offset[o] += 1000
					}
					slices.Reverse(d.Weights.W)
				}
				_, want, weights := run(p)
				p.Net.Features[0].Mean++
				_, _, format := run(p)
				_, _, shape := run(stackedNetwork(t).program)
				// with runs the first program with another section.
				with := func(other []byte) string {
					path := filepath.Join(dir, "section.bin")
					other = slices.Concat(other, make([]byte, len(section)))[:len(section)]
					if err := os.WriteFile(path, other, 0o600); err != nil {
						t.Fatal(err)
					}
					compile(t, dir, c.objcopy, "--update-section", own+"="+path, "program")
					out, err := c.run(dir)
					if err != nil {
						t.Fatal(err)
					}
					return out
				}
				if got := with(weights); got != want || first == want ||
					element(printed(got, "check"), 0) != "0" || !strings.Contains(got, "finished") {
					t.Errorf("with the other section it prints\n%swant\n%s", got, want)
				}
				if got := element(printed(with(format), "check"), 0); got != "2" {
					t.Errorf("another format: the check returns %s, want 2", got)
				}
				if got := element(printed(with(shape), "check"), 0); got != "1" && got != "2" {
					t.Errorf("another shape: the check returns %s, want 1 or 2", got)
				}
				erased := slices.Repeat([]byte{0xFF}, len(section))
				if got := element(printed(with(erased), "check"), 0); got != "1" {
					t.Errorf("erased flash: the check returns %s, want 1", got)
				}
				weights[len(weights)/2] ^= 1
				if got := element(printed(with(weights), "check"), 0); got == "0" {
					t.Error("a flipped bit in the section is not found")
				}
				if got := with(section); got != first {
					t.Errorf("with its own section it prints\n%swant\n%s", got, first)
				}
			})
		}
	}
}

// sectionOf returns the bytes of a section of a linked program.
func sectionOf(t *testing.T, path, name string) []byte {
	t.Helper()
	file, err := elf.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	s := file.Section(name)
	if s == nil {
		t.Fatalf("the program has no section %s", name)
	}
	data, err := s.Data()
	if err != nil {
		t.Fatal(err)
	}
	return data
}
