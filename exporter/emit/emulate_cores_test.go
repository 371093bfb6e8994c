//go:build emulate

package emit

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// core is a processor that runs the emitted C: emulated, or the host.
type core struct {
	name     string
	packages string   // of Debian: compiler, C library, emulator
	compiler []string // with the flags of the core
	clang    []string // the core's flags for clang, where clang compiles the network; else nil
	link     []string // sources in testdata/emulate (absolute path) and linker flags
	emulator []string // nil for the host
}

// cortexM is an emulated board. Where code and RAM begin is in QEMU's
// documentation of the board ("microbit", "mps2-an385" and so on).
func cortexM(name, cpu, board, code, ram, size string) core {
	return core{
		name:     name,
		packages: "gcc-arm-none-eabi libnewlib-arm-none-eabi qemu-system-arm",
		compiler: []string{"arm-none-eabi-gcc", "-mthumb", "-mcpu=" + cpu, "--specs=nano.specs",
			"--specs=rdimon.specs"},
		link: []string{emulateFile("cortex-m.c"), "-T", emulateFile("cortex-m.ld"),
			"-Wl,--defsym=CODE_START=" + code + ",--defsym=RAM_START=" + ram +
				",--defsym=RAM_SIZE=" + size},
		emulator: []string{"qemu-system-arm", "-M", board, "-nographic", "-semihosting-config",
			"enable=on,target=native", "-kernel"},
	}
}

var (
	cortexM0 = cortexM("cortex-m0", "cortex-m0", "microbit", "0", "0x20000000", "0x4000")

	fastCores = []core{
		cortexM0,
		cortexM("cortex-m3", "cortex-m3", "mps2-an385", "0", "0x20000000", "0x400000"),
		cortexM("cortex-m4", "cortex-m4", "mps2-an386", "0", "0x20000000", "0x400000"),
		cortexM("cortex-m7", "cortex-m7", "mps2-an500", "0", "0x20000000", "0x400000"),
		cortexM("cortex-m33", "cortex-m33", "mps2-an505", "0x10000000", "0x38000000", "0x200000"),
		{
			name:     "rv32imc",
			packages: "gcc-riscv64-unknown-elf picolibc-riscv64-unknown-elf qemu-system-misc",
			compiler: []string{"riscv64-unknown-elf-gcc", "-march=rv32imc", "-mabi=ilp32",
				"--specs=picolibc.specs", "--oslib=semihost", "--crt0=semihost"},
			link: []string{
				"-Wl,--defsym=__flash=0x80000000,--defsym=__flash_size=0x200000,--defsym=__ram=0x80200000,--defsym=__ram_size=0x200000"},
			emulator: []string{"qemu-system-riscv32", "-M", "virt", "-bios", "none", "-nographic",
				"-semihosting-config", "enable=on,target=native", "-kernel"},
		},
		{
			name:     "host, clang, sanitizers",
			packages: "clang libclang-rt-dev",
			compiler: []string{"clang", "-fsanitize=undefined,address",
				"-fno-sanitize-recover=all"},
		},
		{
			name:     "host, gcc, 32 bits",
			packages: "gcc gcc-multilib qemu-user",
			compiler: []string{"gcc", "-m32"},
		},
	}

	// QEMU's own 8-bit core would be faster, but its version 7.2 hangs when a return
	// is skipped, as in the compiler's routine for signed products.
	avr = core{
		name:     "avr",
		packages: "gcc-avr avr-libc simavr",
		compiler: []string{"avr-gcc", "-mmcu=atmega1284p"},
		link:     []string{emulateFile("avr.c")},
		emulator: []string{"simavr", "-m", "atmega1284p", "-f", "16000000"},
	}

	host = core{name: "host", packages: "gcc", compiler: []string{"gcc"}}
)

func emulateFile(name string) string {
	path, err := filepath.Abs(filepath.Join("testdata", "emulate", name))
	if err != nil {
		panic(err)
	}
	return path
}

// require ends the test where the core's tools are not installed: skipped, or
// failed where everything has to be there (CI).
func (c core) require(t *testing.T) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "empty.c"),
		[]byte("#include <stdio.h>\nint main(void) { return 0; }\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	build := exec.Command(c.compiler[0],
		append(c.compiler[1:len(c.compiler):len(c.compiler)], "empty.c", "-o", "empty")...)
	build.Dir = dir
	out, err := build.CombinedOutput()
	if err == nil && c.emulator != nil {
		_, err = exec.LookPath(c.emulator[0])
	}
	if err == nil {
		return
	}
	missing := fmt.Sprintf("%s is NOT tested: %v %s\ninstall the Debian packages %s", c.name, err,
		out, c.packages)
	if os.Getenv("CI") == "true" {
		t.Fatal(missing)
	}
	t.Skip(missing)
}

// compileLimit and runLimit end a compiler or emulator that hangs; the slowest
// run takes half a minute on a busy machine.
const (
	compileLimit = 2 * time.Minute
	runLimit     = 4 * time.Minute
)

// build compiles driver.c and a network; level holds compiler options, network is leakair.c or a
// variant. Where clang compiles the network, the rest has level -O2.
func (c core) build(dir, level, network string, macros ...string) error {
	ctx, cancel := context.WithTimeout(context.Background(), compileLimit)
	defer cancel()
	if c.clang != nil {
		object := exec.CommandContext(ctx, "clang", append(append(strings.Fields(level),
			"-std=c99", "-ffreestanding", "-c", network, "-o", "network.o"), c.clang...)...)
		object.Dir = dir
		if out, err := object.CombinedOutput(); err != nil {
			return fmt.Errorf("%v: %w\n%s", object.Args, err, out)
		}
		level, network = "-O2", "network.o"
	}
	args := append(c.compiler[1:len(c.compiler):len(c.compiler)], "-std=c99", "-I.",
		"-DLEAKAIR_SELFTEST_NO_STDIO")
	args = append(args, strings.Fields(level)...)
	args = append(args, strict...)
	args = append(args, macros...)
	args = append(args, network, "leakair_selftest.c", emulateFile("driver.c"))
	args = append(args, c.link...)
	cmd := exec.CommandContext(ctx, c.compiler[0], append(args, "-o", "program")...)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%v: %w\n%s", cmd.Args, err, out)
	}
	return nil
}

// run runs the program and returns what it wrote.
func (c core) run(dir string) (string, error) {
	ctx, cancel := context.WithTimeout(context.Background(), runLimit)
	defer cancel()
	command := append(c.emulator[:len(c.emulator):len(c.emulator)], filepath.Join(dir, "program"))
	out, err := exec.CommandContext(ctx, command[0], command[1:]...).CombinedOutput()
	if errors.Is(err, syscall.ENOEXEC) { // a kernel without programs of 32 bits
		command = append([]string{"qemu-i386"}, command...)
		out, err = exec.CommandContext(ctx, command[0], command[1:]...).CombinedOutput()
	}
	switch {
	case ctx.Err() != nil:
		return "", fmt.Errorf("%v did not end within %v; it wrote:\n%s", command, runLimit,
			tail(out))
	case err != nil:
		return "", fmt.Errorf("%v: %w; it wrote:\n%s", command, err, tail(out))
	}
	return string(out), nil
}

// tail is the end of a long output.
func tail(out []byte) []byte { return out[max(0, len(out)-2000):] }
