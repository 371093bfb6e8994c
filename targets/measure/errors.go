package measure

import (
	"fmt"
	"strings"
)

// ToolError reports a compiler, library or emulator that is not installed.
type ToolError struct {
	Tool    string // the missing program or file
	Package string // Debian package with the tool
}

// Error names the tool.
func (e *ToolError) Error() string { return e.Tool + " is not installed" }

// HintText names the Debian package.
func (e *ToolError) HintText() string { return "install the Debian package " + e.Package }

// CommandError reports a compiler, linker or emulator that failed.
type CommandError struct {
	Command string // the program, without folder and arguments
	What    string // the task that it was given
	Output  string // the end of the text that it wrote
}

// Error names the program and its task, with the end of the text that the program wrote.
func (e *CommandError) Error() string {
	return fmt.Sprintf("%s cannot %s: %s", e.Command, e.What, strings.TrimSpace(e.Output))
}

// InstructionError reports an executed instruction that has no cost.
type InstructionError struct {
	Instruction string // mnemonic and operands
	Function    string // function of the program that has the instruction
	Class       string // class for which the profile has no cost; empty: no class is known
	Profile     string // name of the profile; empty when no class is known
}

// Error names the instruction, its function and the class without a cost.
func (e *InstructionError) Error() string {
	if e.Class == "" {
		return fmt.Sprintf("no class is known for the instruction %q in function %s", e.Instruction,
			e.Function)
	}
	return fmt.Sprintf(
		"profile %s has no cost of %s, which the instruction %q in function %s needs", e.Profile,
		e.Class, e.Instruction, e.Function)
}

// HintText says where to add the instruction or the cost.
func (e *InstructionError) HintText() string {
	if e.Class == "" {
		return "add the instruction to package targets/measure"
	}
	return fmt.Sprintf("copy the profile and add %s = { cycles = ..., source = \"...\", quality "+
		"= \"...\" }", e.Class)
}

// StackError reports a function whose use of the stack cannot be bounded.
type StackError struct {
	Function string
	Reason   string // one clause
}

// Error returns the function and the reason.
func (e *StackError) Error() string {
	return fmt.Sprintf("the stack of function %s has no bound: %s", e.Function, e.Reason)
}
