package emit

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
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

// With the longest name of a job all external identifiers differ in the 31 characters that C99
// 5.2.4.1 guarantees to be significant.
func TestExternalNamesDifferWhereTheyAreSignificant(t *testing.T) {
	for _, p := range []*Program{selftestProgram(t, 1),
		randomProgram(t, rand.New(rand.NewPCG(3, 1)), randomnet.OneGRU)} {
		p.Name = strings.Repeat("n", maxPrefix)
		if p.Front != nil {
			p.Name = strings.Repeat("n", maxFrontPrefix)
		}
		dir := t.TempDir()
		writeC(t, p, dir)
		owner := map[string]string{}
		upper := "-D" + strings.ToUpper(p.Name)
		for _, source := range []string{"", "_front", "_selftest", "_board"} {
			if source == "_front" && p.Front == nil {
				continue
			}
			compile(t, dir, "gcc", "-std=c99", upper+"_WITH_FLOAT", upper+"_WITH_ENCODE_ONE",
				upper+"_WITH_RETAINED", upper+"_WITH_CHECK", upper+"_SELFTEST_NO_STDIO", "-c",
				p.Name+source+".c", "-o", "object.o")
			names := exec.Command("nm", "--extern-only", "--defined-only", "--format=just-symbols",
				filepath.Join(dir, "object.o"))
			out, err := names.Output()
			if err != nil {
				t.Fatal(err)
			}
			for _, name := range strings.Fields(string(out)) {
				significant := name[:min(len(name), 31)]
				if other := owner[significant]; other != "" {
					t.Errorf("%s and %s are alike in 31 characters", other, name)
				}
				owner[significant] = name
			}
		}
		if len(owner) < 10 {
			t.Errorf("found only %v", owner)
		}
	}
}

// A job may have a name that looks like the prefix of the C files that it is made from.
func TestJobNamedNet(t *testing.T) {
	p := randomProgram(t, rand.New(rand.NewPCG(3, 1)), randomnet.OneGRU)
	p.Name = "net_a"
	dir := t.TempDir()
	writeC(t, p, dir)
	compile(t, dir, "gcc", "-std=c99", "-DNET_A_WITH_FLOAT", "-DNET_A_WITH_ENCODE_ONE", "net_a.c",
		"net_a_selftest.c", "-o", "selftest")
	compile(t, dir, "./selftest")
}

// A wrong number among what the self-test tries behind the steps is found, and what it returns says
// where.
func TestSelfTestTellsWhatElseDiffers(t *testing.T) {
	program := randomProgram(t, rand.New(rand.NewPCG(3, 1)), randomnet.OneGRU)
	dir := t.TempDir()
	writeC(t, program, dir)
	path := filepath.Join(dir, "leakair_vectors.h")
	vectors, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	driver := "#include <stdio.h>\n#include \"leakair.h\"\nint main(void)\n{\n" +
		"    printf(\"%ld\", (long)leakair_selftest());\n    return 0;\n}\n"
	if err := os.WriteFile(filepath.Join(dir, "driver.c"), []byte(driver), 0o600); err != nil {
		t.Fatal(err)
	}
	for behind, number := range []string{
		`()`, `long_y\[.*\n    \{ (-?\d+)`, `leakair_values\[\] .*\n    \{ .*, (-?\d+) \}`,
		`float_x\[.*\n    \{ (-?\d+)`, `float_y\[.*\n    \{ .* \},\n    \{ (-?[0-9.e+-]+)f`,
	} {
		at := regexp.MustCompile(number).FindSubmatchIndex(vectors)
		if at == nil {
			t.Fatalf("no %s in the vectors", number)
		}
		changed, want := string(vectors), 0
		if behind > 0 {
			changed = changed[:at[2]] + "7" + changed[at[2]:]
			want = len(program.Vectors) + behind
		}
		if err := os.WriteFile(path, []byte(changed), 0o600); err != nil {
			t.Fatal(err)
		}
		compile(t, dir, "gcc", "-std=c99", "-DLEAKAIR_WITH_FLOAT", "-DLEAKAIR_WITH_ENCODE_ONE",
			"-DLEAKAIR_SELFTEST_NO_STDIO", "leakair.c", "leakair_selftest.c", "driver.c", "-o",
			"driver")
		out, err := exec.Command(filepath.Join(dir, "driver")).Output()
		if err != nil || string(out) != fmt.Sprint(want) {
			t.Errorf("%s: the self-test returns %s, %v; want %d", number, out, err, want)
		}
	}
}
