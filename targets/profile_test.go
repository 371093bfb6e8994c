package targets

import (
	"fmt"
	"math"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"kerf/fault"
)

func load(t *testing.T, name string) *Profile {
	t.Helper()
	p, err := Load(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// count is a number of instructions of a class.
type count map[string]float64

// sum returns the cycles of a mix of instructions.
func sum(p *Profile, mix count) float64 {
	total := 0.0
	for class, n := range mix {
		total += n * p.Cycles(class)
	}
	return total
}

// The loop of a 16-bit dot product, one iteration, for the instructions that GCC 12.2 -O2 emits for
// s += (int32_t)a[i] * b[i] (seen in its output); the cycles are the sums of the maker's tables as
// written beside.
func TestShortLoops(t *testing.T) {
	const p = 2 // pipeline refill of Cortex-M3 and M4 that the profiles assume; 1..3 in the manuals
	for _, tt := range []struct {
		profile string
		mix     count
		want    float64
	}{
		// Cortex-M0+ Technical Reference Manual DDI 0484C, Table 3.1: ldrsh 2, ldrsh 2, adds 1,
		// muls 1, adds 1, cmp 1, bne 2.
		{"cortex-m0plus", count{"load": 1, "load_next": 1, "alu": 3, "mul": 1, "branch_taken": 1},
			10},
		// Cortex-M3 Technical Reference Manual 100165_0201_02_en, Table 3-1 and section 3.3.2:
		// ldrsh 2, chained ldrsh 1, cmp 1, mla 2, bne 1+P.
		{"cortex-m3", count{"load": 1, "load_next": 1, "alu": 1, "mul_acc": 1, "branch_taken": 1},
			7 + p},
		// Cortex-M4 Technical Reference Manual DDI 0439D, Tables 3-1, 3-2: ldrh 2, chained ldrh 1,
		// cmp 1, smlabb 1, bne 1+P.
		{"cortex-m4f", count{"load": 1, "load_next": 1, "alu": 1, "mul_acc": 1, "branch_taken": 1},
			6 + p},
		// Same manual: ldr 2, chained ldr 1, smlad 1, unrolled. llvm-mca 14.0.6 prints 401 cycles
		// for 100 of them.
		{"cortex-m4f", count{"load": 1, "load_next": 1, "mul_acc": 1}, 4},
		// llvm-mca 14.0.6 -mcpu=cortex-m33 prints the same 401 cycles for 100 of ldr, ldr, smlad.
		{"cortex-m33", count{"load": 1, "load_next": 1, "mul_acc": 1}, 4},
		// Ibex pipeline_details.rst, commit 8b8ee08, stall + 1: lh 2, lh 2, addi 1, addi 1, mul 1,
		// add 1, bne 3.
		{"rv32imc", count{"load": 1, "load_next": 1, "alu": 3, "mul": 1, "branch_taken": 1}, 11},
	} {
		if got := sum(load(t, tt.profile), tt.mix); got != tt.want {
			t.Errorf("%s %v: %v cycles, want %v", tt.profile, tt.mix, got, tt.want)
		}
	}
}

// Cortex-M7, ldr; ldr; smlad with immediate offsets: llvm-mca 14.0.6 prints 202 cycles for 100 and
// a reciprocal throughput of 1.5. The profile takes the middle between paired and unpaired loads,
// so it lies between the best case of the model and three instructions one after the other.
func TestDualIssueLoop(t *testing.T) {
	got := sum(load(t, "cortex-m7"), count{"load": 1, "load_next": 1, "mul_acc": 1})
	if got < 1.5 || got > 3 {
		t.Errorf("%v cycles, want 1.5 to 3", got)
	}
}

// Figures of the AVR column: AVR201 (1631C-AVR-06/02) header statistics, "mac16x16_32: 32-bit +=
// 16x16 signed" takes 23 cycles and 19 words without the RET. 19 one-word instructions of which
// four multiply (2 cycles each) account for 23: the four partial products of two 16-bit numbers.
func TestAVRMultiplyAccumulate(t *testing.T) {
	p := load(t, "avr8")
	if got := sum(p, count{"mul": 4, "alu": 19 - 4}); got != 23 {
		t.Errorf("16x16 multiply-accumulate: %v cycles, want 23", got)
	}
	// Same source: a 32-bit add is 4 cycles (X: ADD, ADC, ADC, ADC).
	if got := sum(p, count{"alu": 4}); got != 4 {
		t.Errorf("32-bit add: %v cycles, want 4", got)
	}
}

// PUSH of N registers, from the same tables as above; Cortex-M7: LDM and STM of N measured as half
// of N, rounded up.
func TestPush(t *testing.T) {
	for _, tt := range []struct {
		profile string
		n, want float64
	}{
		{"cortex-m0plus", 4, 5}, // 1 + N
		{"cortex-m3", 3, 4},     // 1 + N; the manual's example of three registers
		{"cortex-m4f", 8, 9},    // 1 + N
		{"cortex-m7", 5, 3},     // ceil(5/2)
		{"cortex-m33", 6, 6},    // N, measured
		{"rv32imc", 4, 8},       // 4 sw of 2 cycles
		{"avr8", 3, 6},          // 3 PUSH of 2 cycles
	} {
		p := load(t, tt.profile)
		if got := p.Cycles("push_pop_base") + tt.n*p.Cycles("push_pop_each"); got != tt.want {
			t.Errorf("%s: PUSH of %v registers %v cycles, want %v", tt.profile, tt.n, got, tt.want)
		}
	}
}

// The published single figures that the loops above do not reach.
func TestPublishedCosts(t *testing.T) {
	for _, tt := range []struct {
		profile, class string
		want           float64
	}{
		{"cortex-m0plus", "shift", 1}, {"cortex-m0plus", "store", 2}, // DDI 0484C, Table 3.1
		{"cortex-m0plus", "call", 3}, {"cortex-m0plus", "return", 2},
		{"cortex-m0plus", "branch_not_taken", 1},
		// 100165_0201_02_en, Table 3-1: SMULL 3..5
		{"cortex-m3", "mul", 1}, {"cortex-m3", "mul_long", 5},
		{"cortex-m3", "store", 1},                               // section 3.3.2, not Table 3-1
		{"cortex-m4f", "mul", 1}, {"cortex-m4f", "mul_long", 1}, // DDI 0439D, Table 3-1
		// section 3.3.2
		{"cortex-m4f", "store", 1},
		// cortex_m7.md, commit 3dfc2ab
		{"cortex-m7", "alu", 0.5}, {"cortex-m7", "mul_acc", 1}, {"cortex-m7", "store", 1},
		{"cortex-m33", "mul_long", 1}, {"cortex-m33", "store", 1}, // cortex_m33.md, commit 3dfc2ab
		// cortex_m33.py, commit 902e68e
		{"cortex-m33", "branch_taken", 3},
		// pipeline_details.rst: MUL 1, MULH 2
		{"rv32imc", "mul_long", 3},
		{"rv32imc", "store", 2}, {"rv32imc", "call", 2}, {"rv32imc", "return", 2}, // same
		// DS40002198, AVRe
		{"avr8", "load", 2}, {"avr8", "load_flash", 3}, {"avr8", "store", 2}, {"avr8", "mul", 2},
		{"avr8", "branch_taken", 2}, {"avr8", "branch_not_taken", 1}, {"avr8", "call", 4},
		{"avr8", "return", 4},
	} {
		if got := load(t, tt.profile).Cycles(tt.class); got != tt.want {
			t.Errorf("%s %s: %v cycles, want %v", tt.profile, tt.class, got, tt.want)
		}
	}
}

func TestBuiltinProfiles(t *testing.T) {
	want := []string{"cortex-m0plus", "cortex-m3", "cortex-m4f", "cortex-m7", "cortex-m33",
		"rv32imc", "avr8"}
	if !slices.Equal(Names(), want) {
		t.Errorf("names %v, want %v", Names(), want)
	}
	files, err := builtin.ReadDir("profiles")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != len(want) {
		t.Errorf("%d profile files for %d names", len(files), len(want))
	}
	for _, name := range Names() {
		p := load(t, name)
		if p.Name != name {
			t.Errorf("file %s.toml holds profile %q", name, p.Name)
		}
		for class, c := range p.Costs {
			if c.Source == "" || c.Quality == "" || math.IsNaN(c.Cycles) {
				t.Errorf("%s %s: %+v lacks something", name, class, c)
			}
			if c.Quality == "derived" && c.Note == "" && class != "push_pop_each" {
				t.Errorf("%s %s: derived without a note", name, class)
			}
		}
		// The maker prints no cycle table for Cortex-M7 (quinapalus.com, "Cortex-M7 instruction
		// cycle counts, timings, and dual-issue combinations"), and none was found for Cortex-M33:
		// so no figure of theirs is from a manual.
		isEstimate := name == "cortex-m7" || name == "cortex-m33"
		for class, c := range p.Costs {
			if isEstimate && (c.Quality == "manual" || c.Quality == "copy") {
				t.Errorf("%s %s: quality %q", name, class, c.Quality)
			}
		}
		if (p.TimingKind == "measured by third parties") != isEstimate {
			t.Errorf("%s: timing kind %q", name, p.TimingKind)
		}
		if p.Cycles("load_next") > p.Cycles("load") {
			t.Errorf("%s: a second load costs more than the first", name)
		}
		// A core without a multiply-accumulate instruction pays for both halves.
		if c := p.Costs["mul_acc"]; c.Quality == "derived" &&
			c.Cycles != p.Cycles("mul")+p.Cycles("alu") {
			t.Errorf("%s: mul_acc %v is not mul + alu", name, c.Cycles)
		}
	}
}

// Long multiply: in the instruction set of all but Armv6-M and AVR.
func TestLongMultiply(t *testing.T) {
	for _, name := range Names() {
		want := name != "cortex-m0plus" && name != "avr8"
		if got := load(t, name).Has("mul_long"); got != want {
			t.Errorf("%s: Has(mul_long) = %v", name, got)
		}
	}
	defer func() {
		if r := recover(); r != `targets: profile avr8 has no instruction class "mul_long"` {
			t.Errorf("panic %v", r)
		}
	}()
	load(t, "avr8").Cycles("mul_long")
}

// The compiler's own macros (GCC manual, ARM and AVR options) agree with the profile, if a compiler
// is there.
func TestCompilerFlags(t *testing.T) {
	compilers := map[string]string{"avr": "avr-gcc", "rv32imc": "riscv64-unknown-elf-gcc"}
	for _, name := range Names() {
		p := load(t, name)
		compiler, ok := compilers[p.ISA]
		if !ok {
			compiler = "arm-none-eabi-gcc"
		}
		if _, err := exec.LookPath(compiler); err != nil {
			t.Logf("%s: %s is not installed, flags not compared", name, compiler)
			continue
		}
		args := append(strings.Fields(p.CompilerFlags), "-dM", "-E", "-x", "c", "/dev/null")
		macros, err := exec.Command(compiler, args...).Output()
		if err != nil {
			t.Errorf("%s: %s %v: %v", name, compiler, args, err)
			continue
		}
		if got := strings.Contains(string(macros), "__ARM_FEATURE_SIMD32 1"); got != p.DualMAC {
			t.Errorf("%s: compiler has dual multiply-accumulate: %v, profile %v", name, got,
				p.DualMAC)
		}
		isa := map[string]string{"armv6m": "__ARM_ARCH_6M__ 1", "armv7m": "__ARM_ARCH_7M__ 1",
			"armv7em": "__ARM_ARCH_7EM__ 1",
			"armv8m":  "__ARM_ARCH_8M_MAIN__ 1", "rv32imc": "__riscv_xlen 32",
			"avr": "__AVR_HAVE_MUL__ 1"}[p.ISA]
		if !strings.Contains(string(macros), "#define "+isa) {
			t.Errorf("%s: compiler flags %q do not define %s", name, p.CompilerFlags, isa)
		}
	}
}

func TestLoadUnknown(t *testing.T) {
	for name, hint := range map[string]string{
		"cortex-m4":   `did you mean "cortex-m4f"? known here: cortex-m0plus, cortex-m3,`,
		"Cortex-M33":  `did you mean "cortex-m33"?`,
		"abacus":      "known here: cortex-m0plus, cortex-m3,",
		"../secret":   "known here: ",
		"":            "known here: ",
		"cortex-m0+":  `did you mean "cortex-m`,
		"rv32imc.bak": "known here: ",
	} {
		_, err := Load(name)
		e, ok := err.(*fault.Error)
		if !ok {
			t.Errorf("%q: error %v", name, err)
			continue
		}
		if want := fmt.Sprintf("unknown profile %q", name); e.Error() != want {
			t.Errorf("error %q, want %q", e, want)
		}
		if !strings.HasPrefix(e.Hint, hint) {
			t.Errorf("%q: hint %q, want %q first", name, e.Hint, hint)
		}
	}
}
