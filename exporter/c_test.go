package exporter

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
)

// strict are the flags of the acceptance: no warning at all.
var strict = []string{"-Wall", "-Wextra", "-Wconversion", "-Wpedantic", "-Werror"}

// randomNetwork is a float network with weights of mixed size, some rows tiny
// and some large, so that every choice of fraction bits occurs.
func randomNetwork(random *rand.Rand, features, units, outputs int) *dataset.Float {
	values := func(rows, cols int, size float64) []float64 {
		v := make([]float64, rows*cols)
		for r := range rows {
			rowSize := size * []float64{0.01, 0.3, 1, 3}[random.IntN(4)]
			for c := range cols {
				v[r*cols+c] = random.NormFloat64() * rowSize
			}
		}
		return v
	}
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: features, Units: units,
		W: values(3*units, features, 0.5), U: values(3*units, units, 0.5), B: values(3*units, 1, 1), D: values(3*units, 1, 1)}
	head := &model.Dense{Inputs: units, Outputs: outputs, W: values(outputs, units, 1), B: values(outputs, 1, 1)}
	p := &dataset.Float{Net: &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}}}
	for i := range features {
		p.Features = append(p.Features, dataset.Feature{Name: fmt.Sprintf("f%d", i), Unit: "bar", Mean: random.NormFloat64(), Std: 0.1 + random.Float64()})
		p.Kept = append(p.Kept, i)
	}
	for o := range outputs {
		p.Outputs = append(p.Outputs, dataset.Output{Name: fmt.Sprintf("o%d", o), Unit: "L/min", Mean: random.NormFloat64(), Std: 0.5 + random.Float64()})
	}
	return p
}

func testHandoff(t *testing.T, random *rand.Rand, name string, formats quant.Formats) *Handoff {
	t.Helper()
	features, units, outputs := 1+random.IntN(24), 1+random.IntN(24), 1+random.IntN(3)
	net, err := quant.Quantize(randomNetwork(random, features, units, outputs), quant.Calibration{Input: 1 + 8*random.Float64(), Gate: 12 * random.Float64()}, formats)
	if err != nil {
		t.Fatal(err)
	}
	h := &Handoff{Name: name, Version: "test", JobHash: fmt.Sprintf("%064x", 0), VerdictLine: "test", Net: net}
	for j := range units {
		h.KeptUnits = append(h.KeptUnits, j)
	}
	state := net.NewState()
	for i, x := range limits(features) {
		y := make([]int32, outputs)
		net.Step(state, x, y)
		h.Vectors = append(h.Vectors, VectorStep{Reset: i == 0, X: x, Y: y})
	}
	return h
}

func seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 0)) }

func writeC(t *testing.T, h *Handoff, dir string) {
	t.Helper()
	files, err := h.CFiles()
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

func allFormats() []quant.Formats {
	var all []quant.Formats
	for _, input := range []int{8, 16} {
		for _, recurrent := range []int{8, 16} {
			for _, head := range []int{8, 16} {
				for _, state := range []int{16, 32} {
					all = append(all, quant.Formats{InputBits: input, RecurrentBits: recurrent, HeadBits: head, StateBits: state})
				}
			}
		}
	}
	return all
}

// Every combination of word widths compiles without a warning as C99 and as
// C++11, passes its self-test, and stays silent under the sanitizers.
func TestEmittedCCompilesAndPassesItsSelfTest(t *testing.T) {
	for i, formats := range allFormats() {
		t.Run(formats.String(), func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			writeC(t, testHandoff(t, rand.New(rand.NewPCG(uint64(i), 1)), "leakair", formats), dir)
			for _, compiler := range [][]string{
				{"gcc", "-std=c99", "-O2"},
				{"gcc", "-std=c99", "-O1", "-DLEAKAIR_WITH_FLOAT", "-fsanitize=undefined,address", "-fno-sanitize-recover=all"},
				{"g++", "-std=c++11", "-O2", "-DLEAKAIR_WITH_FLOAT", "-x", "c++"},
			} {
				args := append(append(compiler, strict...), "leakair.c", "leakair_selftest.c", "-o", "selftest")
				compile(t, dir, args...)
				compile(t, dir, "./selftest")
			}
		})
	}
}

// stepsPerNetwork × 10 networks = the million random steps of the acceptance.
const stepsPerNetwork = 100_000

// One million random steps on ten random networks: C under the sanitizers gives
// the integers of Go. Inputs are a third uniform, a third small, a third at the
// ends of the range; the state is reset now and then.
func TestCAndGoGiveTheSameIntegers(t *testing.T) {
	formats := allFormats()
	for seed := range uint64(10) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			t.Parallel()
			random := rand.New(rand.NewPCG(seed, 2))
			h := testHandoff(t, random, "leakair", formats[(int(seed)*7)%len(formats)])
			dir := t.TempDir()
			writeC(t, h, dir)
			driver, err := os.ReadFile(filepath.Join("testdata", "replay.c"))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, "replay.c"), driver, 0o644); err != nil {
				t.Fatal(err)
			}
			compile(t, dir, append(append([]string{"gcc", "-std=c99", "-O2", "-fsanitize=undefined,address", "-fno-sanitize-recover=all"}, strict...), "leakair.c", "replay.c", "-o", "replay")...)
			input, want := randomSteps(random, h.Net)
			cmd := exec.Command(filepath.Join(dir, "replay"))
			cmd.Stdin = bytes.NewReader(input)
			got, err := cmd.Output()
			if err != nil {
				t.Fatal(err)
			}
			compareWords(t, got, want, len(h.Net.Outputs))
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
		a, b := int32(binary.LittleEndian.Uint32(got[i:])), int32(binary.LittleEndian.Uint32(want[i:]))
		if a != b {
			t.Fatalf("step %d, output %d: C %d, Go %d", i/4/outputs, i/4%outputs, a, b)
		}
	}
}
