package measure

import (
	"fmt"
	"strings"
	"testing"

	"kerf/fault"
	"kerf/targets"
)

func profile(t *testing.T, name string) *targets.Profile {
	t.Helper()
	p, err := targets.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// listed makes a listing of instructions "mnemonic operands", one per line, two bytes apart from
// address 0x100 on.
func listed(lines string) *listing {
	var b strings.Builder
	b.WriteString("00000100 <f>:\n")
	for i, line := range strings.Split(strings.TrimSpace(lines), "\n") {
		mnemonic, operands, _ := strings.Cut(strings.TrimSpace(line), " ")
		fmt.Fprintf(&b, " %x:\t%s\t%s\n", 0x100+2*i, mnemonic, operands)
	}
	return parseListing(b.String())
}

// straight returns the cost in cycles of the lines executed once, from top to bottom; the last line
// falls through.
func straight(t *testing.T, p *targets.Profile, lines string) float64 {
	t.Helper()
	code := listed(lines)
	c := newCost(p)
	var before *instruction
	sum := 0.0
	for _, at := range code.order {
		v, err := c.of(before, at, false)
		if err != nil {
			t.Fatal(err)
		}
		sum += v.cycles
		before = at
	}
	return sum
}

// loop returns the cost in cycles of one iteration whose last line jumps to the first.
func loop(t *testing.T, p *targets.Profile, lines string) float64 {
	t.Helper()
	code := listed(lines)
	c := newCost(p)
	before := code.order[len(code.order)-1]
	sum := 0.0
	for i, at := range code.order {
		v, err := c.of(before, at, i == len(code.order)-1)
		if err != nil {
			t.Fatal(err)
		}
		sum += v.cycles
		before = at
	}
	return sum
}

// Loops that GCC 12.2 -O2 emits for s += (int32_t)a[i] * b[i] on int16 arrays (its output,
// shortened). The cycles are added up by hand from the manuals named in the profiles.
func TestLoops(t *testing.T) {
	// p is the refill of the pipeline, 1 to 3 cycles in the manuals of Cortex-M3 and M4; the
	// profiles take the middle.
	const p = 2
	for _, c := range []struct {
		profile, lines string
		want           float64
	}{
		// DDI 0484C, Table 3.1: 2 + 2 + 1 + 1 + 1 + 1 + 2.
		{"cortex-m0plus", "ldrsh r5, [r6, r3]\nldrsh r4, [r1, r3]\nadds r3, #2\nmuls r4, " +
			"r5\nadds r0, r0, r4\ncmp r2, r3\nbne.n 100 <f>", 10},
		// 100165_0201_02_en, Table 3-1: 2 + 2 + 1 + 2 + (1+P); the second load writes its address
		// back, so it does not chain.
		{"cortex-m3", "ldrsh.w ip, [r3, #2]!\nldrsh.w lr, [r1, #2]!\ncmp r3, r2\nmla r0, lr, " +
			"ip, r0\nbne.n 100 <f>", 8 + p},
		// DDI 0439D, Table 3-1 and section 3.3.2: 2 + 1 + 1 + 1 + (1+P).
		{"cortex-m4f", "ldrh.w lr, [r3, #2]!\nldrh.w ip, [r1, #2]!\ncmp r3, r2\nsmlabb r0, lr, " +
			"ip, r0\nbne.n 100 <f>", 6 + p},
		// Ibex pipeline_details.rst, commit 8b8ee08, stall + 1: 2 + 2 + 1 + 1 + 1 + 1 + 3.
		{"rv32imc", "lh a4,0(a5)\nlh a3,0(a1)\nadd a5,a5,2\nadd a1,a1,2\nmul a4,a4,a3\nadd " +
			"a0,a0,a4\nbne a2,a5,100 <f>", 11},
	} {
		if got := loop(t, profile(t, c.profile), c.lines); got != c.want {
			t.Errorf("%s: %v cycles per iteration, want %v", c.profile, got, c.want)
		}
	}
}

// Sequences, added up by hand from Arm Cortex-M3 Technical Reference Manual 100165_0201_02_en (M3),
// Cortex-M4 Technical Reference Manual DDI 0439D (M4) and Cortex-M0+ Technical Reference Manual DDI
// 0484C (M0+); 1+P is taken as 3.
func TestSequences(t *testing.T) {
	for _, c := range []struct {
		what, profile, lines string
		want                 float64
	}{
		{"loads chain", "cortex-m3", "ldr r0, [r1, #0]\nldr r2, [r3, #4]\nldr r4, [r5, #8]", 4},
		{"an address that is loaded does not chain", "cortex-m4f",
			"ldr r0, [r1, #0]\nldr r2, [r0, #4]", 4},
		{"nor one that the load before moved", "cortex-m4f",
			"ldr.w r0, [r1], #4\nldr.w r2, [r1], #4", 4},
		{"loads do not chain", "cortex-m0plus", "ldr r0, [r1, #0]\nldr r2, [r3, #4]", 4},
		{"store with immediate offset", "cortex-m4f", "str r0, [r1, #4]", 1},
		{"store with register offset", "cortex-m4f", "str r0, [r1, r2]", 2},
		{"behind a load it costs one less", "cortex-m4f", "ldr r0, [r1, #0]\nstrh.w r0, [r3, " +
			"r2, lsl #1]", 3},
		{"store with register offset", "cortex-m0plus", "strh r0, [r1, r2]", 2},
		{"address from the instruction in front", "cortex-m3", "adds r1, #4\nldr r0, [r1, #0]",
			1 + 1 + 2},
		{"address from a shift in front", "cortex-m4f", "lsls r1, r2, #1\nstrh r0, [r3, r1]",
			1 + 1 + 2},
		{"a value from the instruction in front", "cortex-m4f", "adds r0, #4\nstr r0, [r1, #0]",
			1 + 1},
		{"address older than that", "cortex-m3", "adds r1, #4\nmovs r2, #0\nldr r0, [r1, #0]",
			1 + 1 + 2},
		{"a comparison has no result", "cortex-m3", "cmp r1, #4\nldr r0, [r1, #0]", 1 + 2},
		{"literal", "cortex-m4f", "ldr r3, [pc, #40]", 2},
		{"push", "cortex-m3", "push {r4, r5, r6, r7, lr}", 6},
		{"stmdb", "cortex-m4f", "stmdb sp!, {r4-r9, sl, fp, lr}", 10},
		{"pop and return", "cortex-m3", "pop {r4, r5, r6, r7, pc}", 1 + 5 + 2}, // 1 + N + P
		{"pop and return", "cortex-m0plus", "pop {r4, r5, r6, r7, pc}", 3 + 5}, // 3 + N
		// the manual's example of three registers
		{"ldm", "cortex-m4f", "ldmia.w r0, {r1, r2, r3}", 4},
		{"ldrd", "cortex-m4f", "ldrd r2, r3, [r0, #8]", 3},                     // 1 + N
		{"load of the program counter", "cortex-m4f", "ldr.w pc, [sp], #4", 5}, // at least 5
		{"call", "cortex-m0plus", "bl 100 <f>", 3},
		{"call of a register", "cortex-m0plus", "blx r3", 2},
		{"return", "cortex-m0plus", "bx lr", 2},
		{"branch that is not taken", "cortex-m3", "bne.n 100 <f>", 1},
		{"compare and branch, not taken", "cortex-m4f", "cbz r0, 100 <f>", 1},
		{"conditional block", "cortex-m3", "ite lt\nmovlt r0, #1\nmovge.w r0, #0", 3},
		{"return whose condition does not hold", "cortex-m4f", "it eq\nbxeq lr", 2},
		{"saturation", "cortex-m4f", "ssat r0, #16, r1\nusat r2, #16, r3", 2},
		{"dual multiply-accumulate", "cortex-m4f", "smlad r0, r1, r2, r0\nsxtb16 r3, r4, ror " +
			"#8\nsmuad r5, r3, r4", 3},
		// 3..5 and 4..7, largest
		{"long products", "cortex-m3", "smull r0, r1, r2, r3\nsmlal r0, r1, r2, r3", 5 + 7},
		{"long products", "cortex-m4f", "smull r0, r1, r2, r3\nsmlal r0, r1, r2, r3", 2},
		{"divide", "cortex-m3", "sdiv r0, r1, r2", 12}, // 2..12, largest
		{"high half of a product", "rv32imc", "mul a0,a1,a2\nmulh a3,a1,a2", 1 + 2},
		{"jump, call and return", "rv32imc", "j 100 <f>\njal 100 <f>\nret", 6},
		{"branch that is not taken", "rv32imc", "beqz a0,100 <f>", 1},
		{"stack", "rv32imc", "add sp,sp,-16\nsw ra,12(sp)\nlw ra,12(sp)", 1 + 2 + 2},
		{"divide", "rv32imc", "divu a0,a1,a2", 38},
	} {
		if got := straight(t, profile(t, c.profile), c.lines); got != c.want {
			t.Errorf("%s, %s: %v cycles, want %v\n%s", c.profile, c.what, got, c.want, c.lines)
		}
	}
}

// DDI 0439D, Table 7-1 and its note.
func TestFloatSequences(t *testing.T) {
	for _, c := range []struct {
		what, lines string
		want        float64
	}{
		{"load, load, multiply-accumulate", "vldmia r0!, {s14}\nvldmia r1!, {s15}\nvfma.f32 s0, " +
			"s14, s15", 2 + 2 + 3},
		{"load and store", "vldr s14, [r3]\nvstr s14, [r2, #4]", 2 + 2},
		{"sum that is needed at once", "vadd.f32 s0, s1, s2\nvmul.f32 s3, s0, s0", 1 + 1 + 1},
		{"sum that is needed later", "vadd.f32 s0, s1, s2\nvmul.f32 s3, s4, s4", 1 + 1},
		{"product that is added up", "vmul.f32 s0, s1, s2\nvfma.f32 s0, s3, s4", 1 + 3},
		{"product that is multiplied", "vmul.f32 s3, s1, s2\nvfma.f32 s0, s3, s4", 1 + 1 + 3},
		{"sum that is stored at once", "vadd.f32 s0, s1, s2\nvstr s0, [r0]", 1 + 1 + 2},
		{"divide and root", "vdiv.f32 s0, s1, s2\nvsqrt.f32 s0, s0", 28},
		{"between the register files", "vmov r0, s15\nvmov s14, r1", 4},
		{"copy and constant", "vmov.f32 s0, s1\nvmov.f32 s2, #112", 2},
		{"registers on the stack", "vpush {d8-d9}\nvpop {s16}", 1 + 4 + 1 + 1},
		{"comparison", "vcmpe.f32 s0, #0.0\nvmrs APSR_nzcv, fpscr", 1 + 2},
		{"conditional", "it lt\nvneglt.f32 s0, s0", 2},
	} {
		if got := straight(t, profile(t, "cortex-m4f"), c.lines); got != c.want {
			t.Errorf("%s: %v cycles, want %v\n%s", c.what, got, c.want, c.lines)
		}
	}
}

// Nothing is free because it is not known: instructions without a class, and classes without a
// cost.
func TestUnknownInstructions(t *testing.T) {
	for _, c := range []struct{ profile, line, class string }{
		{"cortex-m4f", "frobnicate r0, r1", ""},
		{"cortex-m4f", "frobnicateeq r0", ""},
		{"cortex-m4f", "tbb [pc, r0]", ""},
		{"rv32imc", "fadd.s fa0,fa1,fa2", ""},
		{"rv32imc", "csrr a0,mstatus", ""},
		{"cortex-m0plus", "smull r0, r1, r2, r3", "mul_long"},
		{"cortex-m0plus", "sdiv r0, r1, r2", "divide"},
		{"cortex-m33", "udiv r0, r1, r2", "divide"},
		{"cortex-m3", "vadd.f32 s0, s1, s2", "float"},
	} {
		_, err := newCost(profile(t, c.profile)).of(nil, listed(c.line).order[0], false)
		want := fmt.Sprintf("no class is known for the instruction %q in function f", c.line)
		if c.class != "" {
			want = fmt.Sprintf("profile %s has no cost of %s, which the instruction %q in "+
				"function f needs", c.profile, c.class, c.line)
		}
		if err == nil || err.Error() != want || fault.Hint(err) == "" {
			t.Errorf("%s, %s: error %v, want %q with a hint", c.profile, c.line, err, want)
		}
	}
}

// Every mnemonic has one class, and a condition is not mistaken for a part of a name.
func TestArmNames(t *testing.T) {
	for mnemonic, want := range map[string]string{
		"teq": "teq", "muls": "muls", "mls": "mls", "bls.n": "b", "blt.w": "b", "ble": "b",
		"bl": "bl", "blx": "blx", "adcs": "adcs",
		"movcs": "mov", "lsls": "lsls", "vmls.f32": "vmls", "vmovle.f32": "vmov", "ldrne.w": "ldr",
		"popne": "pop", "bics": "bics", "b.n": "b",
	} {
		name, isConditional := arm{}.split(mnemonic)
		bare, _, _ := strings.Cut(mnemonic, ".")
		if name != want || isConditional != (bare != want) {
			t.Errorf("%s: %s, conditional %v; want %s", mnemonic, name, isConditional, want)
		}
	}
}
