package measure

import (
	"context"
	"errors"
	"os/exec"
	"path/filepath"
	"strings"

	"kerf/targets"
)

// toolchain describes the tools that compile and run code of an instruction set, and the memory of
// the emulated machine.
type toolchain struct {
	prefix          string   // prefix of the names of compiler and binary tools
	compilerPackage string   // Debian package of the compiler
	libraryFile     string   // a file of the C library in the compiler's search path
	libraryPackage  string   // Debian package of the C library
	flags           []string // compiler flags beside those of the profile
	link            []string // linker flags
	start, script   string   // start code and linker script, files of folder board
	emulator        []string // emulator with the options of the machine; empty: simavr
	emulatorPackage string   // Debian package of the emulator
	code, ram       uint64   // addresses at which code and RAM begin
	stack           uint64   // initial stack pointer
}

// cortexM returns the toolchain of one of QEMU's boards with a Cortex-M core. The addresses of code
// and RAM are those of QEMU's documentation of the board.
func cortexM(board string, code, ram uint64) toolchain {
	return toolchain{
		prefix: "arm-none-eabi-", compilerPackage: "gcc-arm-none-eabi",
		libraryFile: "nano.specs", libraryPackage: "libnewlib-arm-none-eabi",
		link: []string{"--specs=nano.specs"}, start: "start_arm.c", script: "memory.ld",
		emulator: []string{"qemu-system-arm", "-M", board, "-semihosting-config",
			"enable=on,target=native"},
		emulatorPackage: "qemu-system-arm", code: code, ram: ram, stack: ram + 0x40000,
	}
}

// toolchains are the toolchains by instruction set. QEMU 7.2 has no Cortex-M0+. A Cortex-M3
// executes all instructions of Armv6-M, and a Cortex-M7 all of Armv7E-M; the emulated core matters
// for the order of instructions only.
var toolchains = map[string]toolchain{
	"armv6m":  cortexM("mps2-an385", 0, 0x20000000),
	"armv7m":  cortexM("mps2-an385", 0, 0x20000000),
	"armv7em": cortexM("mps2-an500", 0, 0x20000000),
	"armv8m":  cortexM("mps2-an505", 0x10000000, 0x38000000),
	"rv32imc": {
		prefix: "riscv64-unknown-elf-", compilerPackage: "gcc-riscv64-unknown-elf",
		libraryFile: "picolibc.specs", libraryPackage: "picolibc-riscv64-unknown-elf",
		flags: []string{"--specs=picolibc.specs"}, start: "start_rv32.S", script: "memory.ld",
		emulator: []string{"qemu-system-riscv32", "-M", "virt", "-bios", "none", "-serial",
			"stdio"},
		emulatorPackage: "qemu-system-misc", code: 0x80000000, ram: 0x80080000, stack: 0x80100000,
	},
	// RAM of an ATmega1284P: 0x100 to 0x40ff (linker addresses of data begin at 0x800000).
	"avr": {
		prefix: "avr-", compilerPackage: "gcc-avr",
		libraryFile: "libm.a", libraryPackage: "avr-libc",
		start: "start_avr.S", script: "memory_avr.ld", emulatorPackage: "libsimavr-dev",
		ram: 0x800100, stack: 0x40ff,
	},
}

// session is one measurement.
type session struct {
	ctx     context.Context // ends the tools
	profile *targets.Profile
	toolchain
	options Options
	name    string   // name of the network, see Network
	dir     string   // scratch folder
	source  string   // folder with the C of the network
	entries []string // functions whose calls are counted

	programs int // that were measured so far
}

// require finds every tool and returns compiler and emulator with their versions. A tool that
// is not installed is an error whose hint names the Debian package.
func (s *session) require() ([]Tool, error) {
	programs := []struct{ name, pkg string }{
		{s.prefix + "gcc", s.compilerPackage},
		{s.prefix + "objdump", "binutils-" + strings.TrimSuffix(s.prefix, "-")},
	}
	if len(s.emulator) > 0 {
		programs = append(programs, struct{ name, pkg string }{s.emulator[0], s.emulatorPackage})
	} else {
		programs = append(programs, struct{ name, pkg string }{"gcc", "gcc"})
	}
	for _, p := range programs {
		if _, err := exec.LookPath(p.name); err != nil {
			return nil, notInstalled(p.name, p.pkg)
		}
	}
	// GCC prints the bare name of a file that it does not find.
	found, err := s.output("find its library", s.prefix+"gcc",
		append(strings.Fields(s.profile.CompilerFlags), "-print-file-name="+s.libraryFile)...)
	if err != nil {
		return nil, err
	}
	if !filepath.IsAbs(strings.TrimSpace(found)) {
		return nil, notInstalled(s.libraryFile+" of "+s.prefix+"gcc", s.libraryPackage)
	}
	compiler, err := s.output("print its version", s.prefix+"gcc", "-dumpfullversion",
		"-dumpversion")
	if err != nil {
		return nil, err
	}
	tools := []Tool{{s.prefix + "gcc", strings.TrimSpace(compiler)}}
	if len(s.emulator) == 0 {
		return s.buildTracer(tools)
	}
	emulator, err := s.output("print its version", s.emulator[0], "--version")
	if err != nil {
		return nil, err
	}
	// "QEMU emulator version 7.2.22 (Debian ...)"
	version, _, _ := strings.Cut(strings.TrimPrefix(emulator, "QEMU emulator version "), " ")
	return append(tools, Tool{s.emulator[0], version}), nil
}

// output runs a program in the scratch folder and returns its standard output; what names the task
// in an error. A failure is a *commandError.
func (s *session) output(what, program string, args ...string) (string, error) {
	cmd := exec.CommandContext(s.ctx, program, args...)
	cmd.Dir = s.dir
	out, err := cmd.Output()
	if err == nil {
		return string(out), nil
	}
	message := err.Error()
	var exit *exec.ExitError
	if errors.As(err, &exit) && len(exit.Stderr) > 0 {
		message = tail(string(exit.Stderr))
	}
	return "", newCommandError(s.ctx, program, what, message, err)
}

// tail returns the last 1500 bytes of a text, for errors.
func tail(text string) string { return text[max(0, len(text)-1500):] }
