package measure

import (
	"fmt"
	"strings"
)

// ToolError reports a compiler, library or emulator that is not installed.
type ToolError struct {
	Tool    string // program or file that was looked for
	Package string // Debian package that has it
}

// Error names the tool.
func (e *ToolError) Error() string { return e.Tool + " is not installed" }

// HintText names the Debian package.
func (e *ToolError) HintText() string { return "install the Debian package " + e.Package }

// CommandError reports a compiler, linker or emulator that failed.
type CommandError struct {
	Command string // the program, without folder and arguments
	What    string // what it was to do
	Output  string // the end of what it wrote
}

// Error returns what failed, and the end of what the program wrote.
func (e *CommandError) Error() string {
	return fmt.Sprintf("%s cannot %s: %s", e.Command, e.What, strings.TrimSpace(e.Output))
}

// InstructionError reports an executed instruction that has no cost.
type InstructionError struct {
	Instruction string // mnemonic and operands
	Function    string // that it belongs to
	// of targets.Profile that the profile lacks; empty when the instruction has no class
	Class   string
	Profile string
}

// Error names the instruction and what is missing.
func (e *InstructionError) Error() string {
	if e.Class == "" {
		return fmt.Sprintf("no class is known for the instruction %q in function %s", e.Instruction,
			e.Function)
	}
	return fmt.Sprintf(
		"profile %s has no cost of %s, which the instruction %q in function %s needs", e.Profile,
		e.Class, e.Instruction, e.Function)
}

// HintText says how to go on.
func (e *InstructionError) HintText() string {
	if e.Class == "" {
		return "add the instruction to package targets/measure"
	}
	return fmt.Sprintf("copy the profile and add %s = { cycles = ..., source = \"...\", quality "+
		"= \"...\" }", e.Class)
}

// StackError says why the stack of a step has no bound.
type StackError struct {
	Function string
	Reason   string
}

// Error returns the function and the reason.
func (e *StackError) Error() string {
	return fmt.Sprintf("the stack of function %s has no bound: %s", e.Function, e.Reason)
}
