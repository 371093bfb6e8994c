package measure

import (
	"regexp"
	"slices"
	"strings"
)

// arm prices Thumb code of Cortex-M cores as objdump prints it.
type arm struct {
	isV6  bool // Armv6-M
	isV7M bool // Armv7-M without the DSP extension: Cortex-M3
}

// armLoads are the loads of one word or less into a core register.
var armLoads = strings.Fields("ldr ldrb ldrh ldrsb ldrsh")

// armClasses maps the mnemonics whose cost is that of one class, whatever the operands, to the
// class. Mnemonics: Armv7-M and Armv8-M Architecture Reference Manuals (DDI 0403, DDI 0553).
var armClasses = table(map[string][]string{
	"alu": strings.Fields("add adds addw sub subs subw rsb rsbs neg negs cmp cmn mov movs movw " +
		"movt mvn mvns and ands orr orrs orn orns eor eors bic bics tst teq adc adcs sbc sbcs " +
		"adr nop sxth uxth sxtb uxtb sxtah uxtah sxtab uxtab sxtb16 uxtb16 sxtab16 uxtab16 " +
		"sadd16 ssub16 sadd8 ssub8 uadd16 usub16 uadd8 usub8 shadd16 shsub16 qadd qsub qdadd " +
		"qdsub qadd16 qsub16 qadd8 qsub8 sasx ssax qasx qsax ubfx sbfx bfi bfc ssat usat ssat16 " +
		"usat16 clz rbit rev rev16 revsh pkhbt pkhtb sel"),
	"shift": strings.Fields("lsl lsls lsr lsrs asr asrs ror rors rrx rrxs"),
	"mul": strings.Fields("mul muls smulbb smulbt smultb smultt smulwb smulwt smuad smuadx " +
		"smusd smusdx smmul smmulr"),
	"mul_acc": strings.Fields("mla mls smlabb smlabt smlatb smlatt smlawb smlawt smlad smladx " +
		"smlsd smlsdx smmla smmlar smmls smmlsr"),
	"mul_long": strings.Fields("smull umull"),
	"divide":   strings.Fields("sdiv udiv"),
	"call":     {"bl"},
	// BLX of a register takes as long as B or BX on every core with a profile, BL of Armv6-M one
	// cycle more.
	"branch_taken": strings.Fields("b blx"),
	"return":       {"bx"},
	"float": strings.Fields("vadd vsub vmul vnmul vcmp vcmpe vcvt vcvtr vcvtb vcvtt vabs vneg " +
		"vmaxnm vminnm vsel vselge vselgt vseleq vselvs vrinta vrintm vrintn vrintp vrintr " +
		"vrintx vrintz"),
	"float_mac": strings.Fields("vmla vmls vnmla vnmls vfma vfms vfnma vfnms"),
	"float_div": strings.Fields("vdiv vsqrt"),
	// VMRS moves the flags of a comparison. No figure was found: taken as a move between the
	// register files.
	"float_move": strings.Fields("vmrs vmsr"),
})

// armLongSums are the multiplications that add to a 64-bit sum. On Cortex-M3 they take 4 to 7
// cycles where SMULL takes 3 to 5 (Technical Reference Manual 100165_0201_02_en, Table 3-1); with
// the DSP extension they take as long as SMULL (DDI 0439D, Tables 3-1 and 3-2).
var armLongSums = strings.Fields("smlal umlal umaal smlalbb smlalbt smlaltb smlaltt smlald " +
	"smlaldx smlsld smlsldx")

var (
	conditions = strings.Fields("eq ne cs cc mi pl vs vc hi ls ge lt gt le hs lo")
	itBlock    = regexp.MustCompile(`^it[te]{0,3}$`)
	// lateFloats are the float instructions whose result is late by a cycle: a float instruction
	// right behind one waits for it (DDI 0439D, Table 7-1, note).
	lateFloats = strings.Fields("vadd vsub vmul vnmul vcvt")
)

// split returns a mnemonic without its widths (".w", ".f32") and, where the rest is no known
// mnemonic, without its condition.
func (arm) split(mnemonic string) (name string, isConditional bool) {
	name, _, _ = strings.Cut(mnemonic, ".")
	if isArmName(name) || len(name) < 3 {
		return name, false
	}
	if bare := name[:len(name)-2]; slices.Contains(conditions, name[len(name)-2:]) &&
		isArmName(bare) {
		return bare, true
	}
	return name, false
}

// armOthers are the mnemonics, beside armLoads and armLongSums, whose cost depends on operands or
// on where the core goes next.
var armOthers = strings.Fields("push pop ldm ldmia ldmdb stm stmia stmdb ldrd strd str strb " +
	"strh cbz cbnz vldr vstr vmov vldm vldmia vldmdb vstm vstmia vstmdb vpush vpop")

// isArmName reports whether name is a known mnemonic, without width and condition.
func isArmName(name string) bool {
	return armClasses[name] != "" || slices.Contains(armLoads, name) ||
		slices.Contains(armLongSums, name) || slices.Contains(armOthers, name) ||
		itBlock.MatchString(name)
}

// spends is the method of family.
func (a arm) spends(before, at *instruction, isTaken bool) []spend {
	name, isConditional := a.split(at.mnemonic)
	spent := a.withoutWaits(name, isConditional, before, at, isTaken)
	if spent == nil {
		return nil
	}
	if follows(before, at) {
		spent = append(spent, a.waits(before, at, name)...)
	}
	return spent
}

// withoutWaits returns the cost of an instruction that need not wait for a result of the
// instruction before; nil if its mnemonic is not known.
func (a arm) withoutWaits(name string, isConditional bool, before, at *instruction,
	isTaken bool) []spend {
	switch {
	case itBlock.MatchString(name):
		return one("alu") // 0 when folded onto a 16-bit instruction before it
	case name == "cbz" || name == "cbnz" || name == "b" && isConditional:
		if isTaken {
			return one("branch_taken")
		}
		return one("branch_not_taken")
	case isConditional && isJump(name, at.operands) && !isTaken:
		return one("branch_not_taken") // its condition did not hold
	case slices.Contains(armLoads, name):
		return a.load(before, at)
	case name == "str" || name == "strb" || name == "strh":
		return a.store(before, at)
	case slices.Contains(armLongSums, name):
		if a.isV7M {
			return []spend{{"mul_long", 1}, {"alu", 2}}
		}
		return one("mul_long")
	case name == "ldrd" || name == "strd":
		return several(2)
	case name == "vldr" || name == "vstr":
		if words := floatWords(firstOperand(at.operands)); words > 1 {
			return several(words)
		}
		if name == "vldr" {
			return one("float_load")
		}
		return one("float_store")
	case name == "vmov":
		return a.floatMove(at)
	case slices.Contains(armOthers, name): // those left over move a list of registers
		spent := several(listedWords(at.operands))
		if strings.HasSuffix(at.operands, "pc}") {
			return append(spent, a.refill()...)
		}
		return spent
	}
	if class := armClasses[name]; class != "" {
		return one(class)
	}
	return nil
}

// several returns the cost of moving n words with one instruction: PUSH, LDM, LDRD and the like.
func several(n int) []spend {
	return []spend{{"push_pop_base", 1}, {"push_pop_each", float64(n)}}
}

// refill returns the cost of a list that loads the program counter, beyond the cost of the list.
// POP of N registers with PC takes 3 + N on Cortex-M0+, where POP takes 1 + N and BX 2 (DDI 0484C,
// Table 3.1); it takes 1 + N + P on Cortex-M3 and M4, where BX takes 1 + P.
func (a arm) refill() []spend {
	if a.isV6 {
		return one("return")
	}
	return []spend{{"return", 1}, {"branch_not_taken", -1}}
}

// load returns the cost of one of armLoads. A load directly behind another one takes load_next,
// unless its address needs the result of the other one; on Cortex-M3 also unless it writes its
// address back (public repository jnk0le/random, pipeline cycle test, cortex_m3m4.md, commit
// 3dfc2ab: only the first load of a chain may).
func (a arm) load(before, at *instruction) []spend {
	switch {
	case firstOperand(at.operands) == "pc":
		return append(one("load"), one("return")...) // at least 5 cycles on Cortex-M3 and M4
	case a.chains(before, at) && !(a.isV7M && writesBack(at.operands)):
		return one("load_next")
	case strings.Contains(at.operands, "[pc"):
		return one("load_flash")
	}
	return one("load")
}

// store returns the cost of STR, STRB or STRH. A store takes longer with a register as offset,
// unless it is directly behind a load.
func (a arm) store(before, at *instruction) []spend {
	if len(addressRegisters(at.operands)) > 1 && !a.chains(before, at) {
		return one("store_indexed")
	}
	return one("store")
}

// chains reports whether the load or store at is pipelined with the single load in front of it.
func (a arm) chains(before, at *instruction) bool {
	if !follows(before, at) {
		return false
	}
	name, _ := a.split(before.mnemonic)
	if !slices.Contains(armLoads, name) {
		return false
	}
	written := []string{firstOperand(before.operands)}
	if writesBack(before.operands) {
		written = append(written, addressRegisters(before.operands)[0])
	}
	return !shares(written, addressRegisters(at.operands))
}

// waits returns the cost of waiting for a result of the instruction before; name is the mnemonic
// of at without width and condition.
func (a arm) waits(before, at *instruction, name string) []spend {
	was, _ := a.split(before.mnemonic)
	switch class := armClasses[was]; class {
	case "alu", "shift", "mul", "mul_acc", "mul_long", "divide":
		if was == "cmp" || was == "cmn" || was == "tst" || was == "teq" || was == "nop" {
			return nil
		}
		written := operandList(before.operands)[:1]
		if class == "mul_long" {
			written = operandList(before.operands)[:2]
		}
		if shares(written, usedAsAddress(name, at.operands)) {
			return one("address_wait")
		}
	case "float":
		if slices.Contains(lateFloats, was) &&
			shares([]string{firstOperand(before.operands)}, floatSources(name, at.operands)) {
			return one("float_wait")
		}
	}
	return nil
}

// floatMove returns the cost of VMOV: between float registers, of a constant, or of one or two
// words from or to core registers.
func (arm) floatMove(at *instruction) []spend {
	core := 0
	for _, o := range operandList(at.operands) {
		if floatWords(o) == 0 && !strings.HasPrefix(o, "#") {
			core++
		}
	}
	if core == 0 {
		return one("float")
	}
	return []spend{{"float_move", float64(core)}}
}
