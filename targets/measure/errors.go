package measure

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"kerf/fault"
)

// notInstalled returns the error of a missing program or library, which a Debian package has.
func notInstalled(tool, pkg string) error {
	return fault.New(tool+" is not installed", "install the Debian package "+pkg)
}

// commandError is the error of a compiler, linker or emulator that failed.
type commandError struct {
	says   *fault.Error
	output string // the end of the text that the program wrote
}

func (e *commandError) Error() string { return e.says.Error() }

// Unwrap returns the error with its cause.
func (e *commandError) Unwrap() error { return e.says }

// newCommandError returns the error of a program that failed at a task. The end of ctx is a cause
// too, where it is one.
func newCommandError(ctx context.Context, program, task, output string, cause error) error {
	return &commandError{&fault.Error{Msg: fmt.Sprintf("%s cannot %s: %s", filepath.Base(program),
		task, strings.TrimSpace(output)), Cause: errors.Join(cause, ctx.Err())}, output}
}

// withoutDisassembler returns the error of a QEMU that logs bytes instead of instructions.
func withoutDisassembler() error {
	return fault.New(
		"this QEMU does not say where the instructions of a block begin: it was built "+
			"without a disassembler", "use a QEMU that was built with capstone, such as Debian's")
}

// withoutClass returns the error of an executed instruction of which no class is known.
func withoutClass(at *instruction) error {
	return fault.New(fmt.Sprintf("no class is known for the instruction %q in function %s",
		at.text(), at.function), "add the instruction to package targets/measure")
}

// withoutCost returns the error of an executed instruction with a class of which the profile has no
// cost.
func withoutCost(at *instruction, class, profile string) error {
	return fault.New(fmt.Sprintf("profile %s has no cost of %s, which the instruction %q in "+
		"function %s needs", profile, class, at.text(), at.function),
		fmt.Sprintf("copy the profile and add %s = { cycles = ..., source = \"...\", quality "+
			"= \"...\" }", class))
}

// unbounded returns the error of a function whose use of the stack cannot be bounded; the reason is
// one clause.
func unbounded(function, reason string) error {
	return fault.New(fmt.Sprintf("the stack of function %s has no bound: %s", function, reason), "")
}
