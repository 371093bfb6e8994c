package emit

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"kerf/quant"
	"kerf/testdata/randomnet"
)

// strict are the flags of the acceptance: no warning at all.
var strict = []string{"-Wall", "-Wextra", "-Wconversion", "-Wpedantic", "-Werror"}

// randomProgram returns the program of a random network with the given layers.
func randomProgram(t testing.TB, random *rand.Rand, layers randomnet.Layers) *Program {
	t.Helper()
	net, p, rec := randomnet.Quantized(t, random, layers)
	program := &Program{Name: "leakair", Version: "test", JobHash: fmt.Sprintf("%064x", 0),
		VerdictLine: "test", Description: p.Net.String(), Net: net, Vectors: Vectors(net, rec)}
	for _, l := range net.Layers {
		units := make([]int, l.Units)
		for j := range units {
			units[j] = j
		}
		program.KeptUnits = append(program.KeptUnits, units)
	}
	return program
}

func writeC(t *testing.T, program *Program, dir string) {
	t.Helper()
	files, err := program.CFiles()
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func compile(t *testing.T, dir string, command ...string) {
	t.Helper()
	cmd := exec.Command(command[0], command[1:]...)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %v\n%s", command, err, out)
	}
}

// Every kind of layer and activation, in every word width, compiles without a
// warning as C99 and as C++11, passes its self-test, and stays silent under the
// sanitizers.
func TestEmittedCCompilesAndPassesItsSelfTest(t *testing.T) {
	for i, n := range randomnet.All() {
		t.Run(fmt.Sprint(i, n), func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			writeC(t, randomProgram(t, rand.New(rand.NewPCG(uint64(i), 1)), n), dir)
			for _, compiler := range [][]string{
				{"gcc", "-std=c99", "-O2"},
				{"gcc", "-std=c99", "-O2", "-DLEAKAIR_WITH_CHECK"},
				{"gcc", "-std=c99", "-O1", "-DLEAKAIR_WITH_FLOAT",
					"-DLEAKAIR_WITH_ENCODE_ONE", "-DLEAKAIR_WEIGHTS_IN_RAM",
					"-fsanitize=undefined,address", "-fno-sanitize-recover=all"},
				{"g++", "-std=c++11", "-O2", "-DLEAKAIR_WITH_FLOAT", "-DLEAKAIR_WITH_ENCODE_ONE",
					"-DLEAKAIR_WITH_CHECK", "-x", "c++"},
			} {
				args := append(append(compiler, strict...), "leakair.c", "leakair_selftest.c", "-o",
					"selftest")
				compile(t, dir, args...)
				compile(t, dir, "./selftest")
			}
		})
	}
}

// A self-test that finds wrong integers fails, and names the first of them alone.
func TestSelfTestNamesTheFirstWrongInteger(t *testing.T) {
	program := randomProgram(t, rand.New(rand.NewPCG(3, 1)), randomnet.OneGRU)
	wrong := len(program.Vectors) / 2
	want := fmt.Sprintf("step %d, output 0: got %d, expected %d\n", wrong,
		program.Vectors[wrong].Y[0],
		program.Vectors[wrong].Y[0]+1)
	for _, v := range program.Vectors[wrong:] {
		for o := range v.Y {
			v.Y[o]++
		}
	}
	dir := t.TempDir()
	writeC(t, program, dir)
	compile(t, dir, "gcc", "-std=c99", "leakair.c", "leakair_selftest.c", "-o", "selftest")
	cmd := exec.Command(filepath.Join(dir, "selftest"))
	out, err := cmd.Output()
	if cmd.ProcessState.ExitCode() != 1 || string(out) != want {
		t.Errorf("%v, and it says %q; want exit status 1 and %q", err, out, want)
	}
}

// stepsPerNetwork × the networks tried is over a million random steps.
const stepsPerNetwork = 50_000

// Random steps: C under the sanitizers gives the integers of Go. Inputs are a
// third uniform, a third small, a third at the ends of the range; the state is
// reset now and then.
func TestCAndGoGiveTheSameIntegers(t *testing.T) {
	for i, n := range randomnet.All() {
		t.Run(fmt.Sprint(i, n), func(t *testing.T) {
			t.Parallel()
			random := rand.New(rand.NewPCG(uint64(i), 2))
			program := randomProgram(t, random, n)
			dir := t.TempDir()
			writeC(t, program, dir)
			driver, err := os.ReadFile(filepath.Join("testdata", "replay.c"))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, "replay.c"), driver, 0o644); err != nil {
				t.Fatal(err)
			}
			compile(t, dir,
				append(append([]string{"gcc", "-std=c99", "-O2", "-fsanitize=undefined,address",
					"-fno-sanitize-recover=all"}, strict...), "leakair.c", "replay.c", "-o",
					"replay")...)
			input, want := randomSteps(random, program.Net)
			cmd := exec.Command(filepath.Join(dir, "replay"))
			cmd.Stdin = bytes.NewReader(input)
			got, err := cmd.Output()
			if err != nil {
				t.Fatal(err)
			}
			compareWords(t, got, want, len(program.Net.Outputs))
		})
	}
}

// randomSteps makes the input of replay.c (per step: reset flag, features as
// int16, little-endian) and the outputs of the Go engine for it.
func randomSteps(random *rand.Rand, net *quant.Network) (input, want []byte) {
	state := net.NewState()
	x, y := make([]int32, len(net.Features)), make([]int32, len(net.Outputs))
	for step := range stepsPerNetwork {
		reset := int16(0)
		if step == 0 || random.IntN(1000) == 0 {
			reset = 1
			state.Reset()
		}
		input = binary.LittleEndian.AppendUint16(input, uint16(reset))
		style := random.IntN(3)
		for i := range x {
			switch style {
			case 0:
				x[i] = int32(random.IntN(65536)) - 32768
			case 1:
				x[i] = int32(random.IntN(4096)) - 2048
			case 2:
				x[i] = []int32{-32768, 32767, 0}[random.IntN(3)]
			}
			input = binary.LittleEndian.AppendUint16(input, uint16(x[i]))
		}
		net.Step(state, x, y)
		for _, v := range y {
			want = binary.LittleEndian.AppendUint32(want, uint32(v))
		}
	}
	return input, want
}

func compareWords(t *testing.T, got, want []byte, outputs int) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("C wrote %d bytes, Go %d", len(got), len(want))
	}
	for i := 0; i < len(want); i += 4 {
		a, b := int32(binary.LittleEndian.Uint32(got[i:])),
			int32(binary.LittleEndian.Uint32(want[i:]))
		if a != b {
			t.Fatalf("step %d, output %d: C %d, Go %d", i/4/outputs, i/4%outputs, a, b)
		}
	}
}
