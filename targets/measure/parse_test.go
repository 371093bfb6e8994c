package measure

import (
	"slices"
	"strings"
	"testing"

	"kerf/fault"
)

// Lines as GNU objdump prints them for Arm (2.40), RISC-V (2.40) and AVR (2.26).
func TestListing(t *testing.T) {
	l := parseListing(`
run.elf:     file format elf32-littlearm

00000100 <net_step>:
 100:	ldr	r3, [pc, #40]	@ (12c <net_step+0x2c>)
 102:	bl	200 <net_rows.constprop.0>
 106:	beq.n	100 <net_step>
 108:	.word	0x20000000

00000200 <net_rows.constprop.0>:
 200:	call	0x78c	; 0x78c <__mulhisi3>
 204:	rjmp	.+16     	; 0x216 <net_rows.constprop.0+0x16>
 206:	j	80000016 <.L3>
`)
	for _, c := range []struct {
		address, next                        uint64
		mnemonic, operands, function, target string
	}{
		{0x100, 0x102, "ldr", "r3, [pc, #40]", "net_step", ""},
		{0x102, 0x106, "bl", "200 <net_rows.constprop.0>", "net_step", "net_rows.constprop.0"},
		{0x106, 0x108, "beq.n", "100 <net_step>", "net_step", "net_step"},
		{0x200, 0x204, "call", "0x78c", "net_rows.constprop.0", "__mulhisi3"},
		{0x204, 0x206, "rjmp", ".+16", "net_rows.constprop.0", "net_rows.constprop.0"},
		{0x206, 0, "j", "80000016 <.L3>", "net_rows.constprop.0", ".L3"},
	} {
		i := l.at[c.address]
		if i == nil {
			t.Errorf("%#x: no instruction", c.address)
			continue
		}
		want := instruction{c.address, c.next, c.mnemonic, c.operands, c.function, c.target}
		if *i != want {
			t.Errorf("%#x: %+v, want %+v", c.address, *i, want)
		}
	}
}

// logOf is what QEMU 7.2 writes for blocks of instructions: hexadecimal addresses with commas. "+"
// is before a block that is translated, a number and ":" before one that is executed from that
// place of translation, "!" before one that was stopped before it ran.
func logOf(blocks string) string {
	var b strings.Builder
	b.WriteString("guest_errors are not of interest\n")
	for _, block := range strings.Fields(blocks) {
		if stopped, ok := strings.CutPrefix(block, "!"); ok {
			b.WriteString("Stopped execution of TB chain before 0x7f00 [" + stopped + "] f\n")
			continue
		}
		if list, ok := strings.CutPrefix(block, "+"); ok {
			b.WriteString("----------------\nIN: f\n")
			for _, address := range strings.Split(list, ",") {
				b.WriteString("0x00000" + address + ":  4770       bx       lr\n")
			}
			b.WriteString("\n")
			continue
		}
		place, address, _ := strings.Cut(block, ":")
		b.WriteString("Trace 0: 0x7f8c7800000" + place + " [00000000/00000" + address +
			"/00000110/ff020000] f\n")
	}
	return b.String()
}

// Two calls of a step of three instructions: adds 1, a branch, bx 3 (cortex-m3); only what is
// inside counts.
func TestLog(t *testing.T) {
	code := listed("adds r0, #1\nbne.n 100 <f>\nbx lr")
	for _, c := range []struct {
		what, log    string
		cycles       []float64
		instructions []int64
	}{
		{"once through, then with a jump",
			"+080 1:080 +100,102 2:100 +104 3:104 +082 4:082 1:080 " +
				"2:100 2:100 3:104 4:082", []float64{1 + 1 + 3, 1 + 3 + 1 + 1 + 3}, []int64{3, 5}},
		{"a block that is logged twice", "+080 1:080 +100,102 2:100 !100 2:100 +104 3:104 !104 " +
			"3:104 +082 4:082", []float64{5}, []int64{3}},
		{"one address, two translations", "+080 1:080 +100,102 2:100 +100 3:100 +102 4:102 +104 " +
			"5:104 +082 6:082", []float64{1 + 3 + 1 + 1 + 3}, []int64{5}},
		{"a place that is used again", "+080 1:080 +100,102 2:100 +104 2:104 +082 3:082",
			[]float64{5}, []int64{3}},
		{"a step that does not return", "+080 1:080 +100,102 2:100", []float64{1}, []int64{1}},
		{"no step", "+080 1:080 +082 2:082", nil, nil},
	} {
		w := &watcher{code: code, cost: newCost(profile(t, "cortex-m3")),
			entries: map[uint64]int{0x100: 0},
			caller:  span{0x80, 0x90}}
		if err := w.readLog(strings.NewReader(logOf(c.log))); err != nil {
			t.Errorf("%s: %v", c.what, err)
		}
		var cycles []float64
		var instructions []int64
		for _, call := range w.calls {
			cycles = append(cycles, call.Cycles)
			instructions = append(instructions, call.instructions)
		}
		if !slices.Equal(cycles, c.cycles) || !slices.Equal(instructions, c.instructions) {
			t.Errorf("%s: cycles %v, instructions %v; want %v, %v", c.what, cycles,
				instructions, c.cycles, c.instructions)
		}
	}
}

func TestDamagedLog(t *testing.T) {
	for _, log := range []string{"Trace 0: 0x7f [00000000\n", "0x001\n", "0xpq: bx lr\n",
		"IN: f\nOBJD-T: 4770\n", logOf("1:100"), logOf("+100 1:100 2:100"),
		logOf("+100 1:100 +900 2:900 +082 3:082")} {
		w := &watcher{code: listed("adds r0, #1"), cost: newCost(profile(t, "cortex-m3")),
			entries: map[uint64]int{0x100: 0}, caller: span{0x80, 0x90}}
		if err := w.readLog(strings.NewReader(log)); err == nil {
			t.Errorf("no error for the log %q", log)
		}
	}
}

// Lines as GCC writes them, one file per object.
func TestFrames(t *testing.T) {
	got, err := parseFrames(
		"net.c:82:16:net_tanh_Q15\t8\tstatic\nnet.c:90:1:net_rows.constprop\t24\tstatic\n" +
			"net.c:90:1:net_rows\t16\tstatic\n")
	if err != nil || len(got) != 2 || got["net_tanh_Q15"] != 8 || got["net_rows"] != 24 {
		t.Errorf("%v, %v", got, err)
	}
	if _, err := parseFrames("net.c:1:2:net_step\t40\tdynamic\n"); err == nil || err.Error() !=
		"the stack of function net_step has no bound: its frame is dynamic" {
		t.Errorf("a frame without bound: error %v", err)
	}
	if _, err := parseFrames("net.c:1:2:net_step\n"); err == nil {
		t.Error("no error for half a line")
	}
}

func TestDeepestChain(t *testing.T) {
	const functions = `
00000100 <step>:
 100:	bl	200 <rows>
 104:	bl	300 <divide>
 108:	bne.n	100 <step>
00000200 <rows>:
 200:	b.n	300 <divide>
00000300 <divide>:
 300:	push	{r4, r5, lr}
 302:	sub	sp, #8
 304:	vpush	{d8}
 306:	b.w	400 <shared>
00000400 <shared>:
 400:	bl	300 <divide>
 404:	add.w	sp, sp, #8
 408:	bx	lr
`
	// divide pushes 3 words, takes 8 bytes and pushes 2 words: 28, and once more because shared
	// calls it again.
	size, err := newCallGraph(parseListing(functions), map[string]int64{"step": 40, "rows": 16},
		false).deepest("step")
	if err != nil || size != 40+16+28+28 {
		t.Errorf("%d bytes, %v; want %d", size, err, 40+16+28+28)
	}
	avr := "\n00000100 <step>:\n 100:\tcall\t0x200\t; 0x200 <library>\n\n00000200 <library>:\n " +
		"200:\tpush\tr28\n 202:\trcall\t.+0\t; 0x204 <library+0x4>\n 204:\tsbiw\tr28, 0x0a\t; 10\n"
	if size, err := newCallGraph(parseListing(avr), map[string]int64{"step": 10},
		true).deepest("step"); err != nil || size != 10+2+1+2+10 {
		t.Errorf("avr: %d bytes, %v; want 25", size, err)
	}
	rv := "\n00000100 <step>:\n 100:\tjal\t200 <library>\n\n00000200 <library>:\n " +
		"200:\tadd\tsp,sp,-32\n 202:\tadd\tsp,sp,32\n"
	if size, err := newCallGraph(parseListing(rv), map[string]int64{"step": 16},
		false).deepest("step"); err != nil || size != 48 {
		t.Errorf("rv32: %d bytes, %v; want 48", size, err)
	}
}

func TestStackWithoutBound(t *testing.T) {
	for what, code := range map[string]string{
		"recursion":          " 100:\tbl\t100 <step>\n",
		"call of a register": " 100:\tblx\tr3\n",
		"call by a register": " 100:\tjalr\ta5\n",
		"call through Z":     " 100:\ticall\n",
		"recursion of others": " 100:\tbl\t200 <other>\n\n00000200 <other>:\n 200:\tbl\t100 " +
			"<step>\n",
	} {
		_, err := newCallGraph(parseListing("\n00000100 <step>:\n"+code),
			map[string]int64{"step": 8, "other": 8}, false).deepest("step")
		if err == nil || !strings.HasPrefix(err.Error(), "the stack of function ") {
			t.Errorf("%s: error %v, want one about the stack", what, err)
		}
	}
}

func TestReportedStack(t *testing.T) {
	if n, err := painted("noise\n006c\r\n"); err != nil || n != 0x6c {
		t.Errorf("%d, %v", n, err)
	}
	if _, err := painted("nothing of that kind"); err == nil {
		t.Error("no error without a report")
	}
}

// A machine without a tool: the error names the Debian package.
func TestMissingTools(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	for name, pkg := range map[string]string{"cortex-m4f": "gcc-arm-none-eabi",
		"rv32imc": "gcc-riscv64-unknown-elf", "avr8": "gcc-avr"} {
		_, err := Network(t.Context(), profile(t, name), t.TempDir(), "net", Options{})
		if err == nil || !strings.HasSuffix(err.Error(), " is not installed") ||
			!strings.Contains(fault.Hint(err), pkg) {
			t.Errorf("%s: error %v, want one with package %s", name, err, pkg)
		}
	}
}
