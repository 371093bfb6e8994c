package measure

import (
	"slices"
	"strconv"
	"strings"
)

// operandList splits operands at all commas, those inside brackets too; the brackets stay.
func operandList(operands string) []string {
	parts := strings.Split(operands, ",")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	return parts
}

// firstOperand returns the first operand, of most instructions the register that is written.
func firstOperand(operands string) string { return operandList(operands)[0] }

// addressRegisters returns the registers inside brackets: "r3, [r1, r2, lsl #1]" gives r1 and r2.
func addressRegisters(operands string) []string {
	_, inside, _ := strings.Cut(operands, "[")
	inside, _, _ = strings.Cut(inside, "]")
	var registers []string
	for _, part := range operandList(inside) {
		if part != "" && !strings.HasPrefix(part, "#") && !strings.Contains(part, " ") {
			registers = append(registers, part)
		}
	}
	return registers
}

// usedAsAddress returns the registers that the address of a load or store needs; none for other
// instructions.
func usedAsAddress(name, operands string) []string {
	switch {
	case name == "push" || name == "pop" || name == "vpush" || name == "vpop":
		return []string{"sp"}
	case strings.Contains(operands, "["):
		return addressRegisters(operands)
	case strings.Contains(operands, "{") && slices.Contains(armOthers, name):
		return []string{strings.TrimSuffix(firstOperand(operands), "!")}
	}
	return nil
}

// writesBack reports whether a load or store changes its address register, such as "[r0, #4]!" and
// "[r0], #4".
func writesBack(operands string) bool {
	return strings.HasSuffix(operands, "!") || strings.Contains(operands, "],")
}

// isJump reports whether an instruction goes elsewhere if its condition holds. CBZ and CBNZ, which
// hold their condition in themselves, are not among these.
func isJump(name, operands string) bool {
	switch name {
	case "b", "bl", "bx", "blx":
		return true
	case "pop", "ldm", "ldmia", "ldmdb":
		return strings.HasSuffix(operands, "pc}")
	case "ldr":
		return firstOperand(operands) == "pc"
	}
	return false
}

// listedWords returns the number of 32-bit words of a list of registers: "{r4-r7, lr}" gives 5,
// "{d8}" gives 2.
func listedWords(operands string) int {
	_, inside, _ := strings.Cut(operands, "{")
	inside, _, _ = strings.Cut(inside, "}")
	words := 0
	for _, part := range operandList(inside) {
		first, last, isRange := strings.Cut(part, "-")
		n := 1
		if isRange {
			n = registerNumber(last) - registerNumber(first) + 1
		}
		words += n * max(1, floatWords(first))
	}
	return words
}

// registerNumber returns the number in r7, s15 or d8; objdump has names of its own for r10 to r15.
func registerNumber(name string) int {
	if i := slices.Index([]string{"sl", "fp", "ip", "sp", "lr", "pc"}, name); i >= 0 {
		return 10 + i
	}
	n, err := strconv.Atoi(name[1:])
	if err != nil {
		return 0 // no register: lists of objdump hold nothing else
	}
	return n
}

// floatWords returns the width of a float register in words of 32 bits, 0 for anything else.
func floatWords(operand string) int {
	if len(operand) < 2 || strings.Trim(operand[1:], "0123456789") != "" {
		return 0
	}
	switch operand[0] {
	case 's':
		return 1
	case 'd':
		return 2
	}
	return 0
}

// floatSources returns the registers that a float instruction reads at its start. The sum of a
// multiply-accumulate is read one cycle later (DDI 0439D, Table 7-1, note) and is not among them.
func floatSources(name, operands string) []string {
	list := operandList(operands)
	switch {
	case !strings.HasPrefix(name, "v"):
		return nil
	case name == "vstr" || name == "vcmp" || name == "vcmpe":
		return list
	case name == "vpush" || strings.HasPrefix(name, "vstm"):
		return nil // a list of registers right behind a sum is rare: its registers are not read
	}
	return list[1:]
}

// shares reports whether a and b have a register in common.
func shares(a, b []string) bool {
	return slices.ContainsFunc(a, func(x string) bool { return slices.Contains(b, x) })
}
