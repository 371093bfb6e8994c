package emit

import (
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"kerf/testdata/randomnet"
)

// The self-test tells source files of another export by their number, before it runs a step.
func TestSelfTestTellsAnotherExport(t *testing.T) {
	program := randomProgram(t, rand.New(rand.NewPCG(3, 1)), randomnet.OneGRU)
	dir, other := t.TempDir(), t.TempDir()
	writeC(t, program, dir)
	program.VerdictLine = "another"
	writeC(t, program, other)
	compile(t, dir, "gcc", "-std=c99", filepath.Join(other, "leakair.c"), "leakair_selftest.c",
		"-o", "selftest")
	cmd := exec.Command(filepath.Join(dir, "selftest"))
	out, err := cmd.Output()
	if cmd.ProcessState.ExitCode() != 1 ||
		!strings.HasPrefix(string(out), "leakair.c is of another export: 0x") {
		t.Errorf("%v, and it says %q", err, out)
	}
	driver := "#include \"leakair.h\"\nint main(void) { return leakair_selftest() != -1; }\n"
	if err := os.WriteFile(filepath.Join(dir, "driver.c"), []byte(driver), 0o600); err != nil {
		t.Fatal(err)
	}
	compile(t, dir, "gcc", "-std=c99", "-DLEAKAIR_SELFTEST_NO_STDIO",
		filepath.Join(other, "leakair.c"), "leakair_selftest.c", "driver.c", "-o", "driver")
	compile(t, dir, "./driver")
}

// The header of the network names nothing of the board file.
func TestHeaderHasNothingOfTheBoard(t *testing.T) {
	files, err := randomProgram(t, rand.New(rand.NewPCG(3, 1)), randomnet.OneGRU).CFiles()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"leakair_board(", "leakair_cycles(", "leakair_line("} {
		if strings.Contains(string(files["leakair.h"]), name) ||
			!strings.Contains(string(files["leakair_board.h"]), name) {
			t.Errorf("%s stands in leakair.h, or not in leakair_board.h", name)
		}
	}
}

// What is kept over a reset is restored while it is intact, and refused with any bit flipped.
func TestRetainedStateIsRestoredWholeOrNotAtAll(t *testing.T) {
	driver, err := filepath.Abs(filepath.Join("testdata", "retained.c"))
	if err != nil {
		t.Fatal(err)
	}
	for i, layers := range randomnet.All()[:6] {
		dir := t.TempDir()
		writeC(t, randomProgram(t, rand.New(rand.NewPCG(uint64(i), 4)), layers), dir)
		compile(t, dir, append(append([]string{"gcc", "-std=c99", "-O2", "-I.",
			"-DLEAKAIR_WITH_RETAINED", "-fsanitize=undefined,address",
			"-fno-sanitize-recover=all"}, strict...), driver, "-o", "retained")...)
		out, err := exec.Command(filepath.Join(dir, "retained")).CombinedOutput()
		if err != nil || !strings.HasPrefix(string(out), "refused ") {
			t.Errorf("network %d: %v, %s", i, err, out)
		}
	}
}
