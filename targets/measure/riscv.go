package measure

import (
	"slices"
	"strings"
)

// riscv prices RV32IMC as objdump prints it, pseudo-instructions included (The RISC-V Instruction
// Set Manual, volume I, tables of pseudo-instructions).
type riscv struct{}

// riscvClasses maps the mnemonics whose cost is that of one class to the class.
var riscvClasses = table(map[string][]string{
	"load":   strings.Fields("lw lh lb lhu lbu"),
	"store":  strings.Fields("sw sh sb"),
	"shift":  strings.Fields("slli srli srai sll srl sra"),
	"mul":    {"mul"},
	"divide": strings.Fields("div divu rem remu"),
	"call":   strings.Fields("jal j"),       // JAL
	"return": strings.Fields("jalr jr ret"), // JALR
	"alu": strings.Fields("add addi sub and andi or ori xor xori li lui mv neg not slt slti " +
		"sltu sltiu seqz snez sltz sgtz auipc nop zext.b"),
})

// riscvBranches are the conditional branches.
var riscvBranches = strings.Fields("beq bne blt bge bltu bgeu beqz bnez blez bgez bltz bgtz bgt " +
	"ble bgtu bleu")

// spends is the method of family.
func (riscv) spends(before, at *instruction, isTaken bool) []spend {
	name := strings.TrimPrefix(at.mnemonic, "c.")
	switch {
	case slices.Contains(riscvBranches, name) && isTaken:
		return one("branch_taken")
	case slices.Contains(riscvBranches, name):
		return one("branch_not_taken")
	case name == "mulh" || name == "mulhu" || name == "mulhsu":
		// mul_long is the cost of the pair MUL and MULH, of which this is the second.
		return []spend{{"mul_long", 1}, {"mul", -1}}
	case riscvClasses[name] == "load" && follows(before, at) &&
		riscvClasses[strings.TrimPrefix(before.mnemonic, "c.")] == "load":
		return one("load_next")
	case riscvClasses[name] != "":
		return one(riscvClasses[name])
	}
	return nil
}
