package emit

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"kerf/testdata/randomnet"
)

// name_encode and name_decode of the emitted C against the Go engine: the same
// integers for recorded-like, extreme and special values, and the same physical
// outputs to one float32 step. Compiled as C99, where the compiler fuses no
// multiply and add (GCC manual: -ffp-contract=off is implied by -std=c99).
func TestEncodeAndDecodeAgreeWithGo(t *testing.T) {
	random := randomnet.Seeded(21)
	program := randomProgram(t, random, randomnet.OneGRU)
	dir := t.TempDir()
	writeC(t, program, dir)
	driver, err := os.ReadFile(filepath.Join("testdata", "convert.c"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "convert.c"), driver, 0o644); err != nil {
		t.Fatal(err)
	}
	compile(t, dir,
		append(append([]string{"gcc", "-std=c99", "-O2", "-DLEAKAIR_WITH_FLOAT",
			"-fsanitize=undefined,float-cast-overflow", "-fno-sanitize-recover=all"}, strict...),
			"leakair.c", "convert.c", "-o", "convert")...)

	special := []float32{0, float32(math.Inf(1)), float32(math.Inf(-1)), float32(math.NaN()),
		math.MaxFloat32, -math.MaxFloat32, math.SmallestNonzeroFloat32}
	var input []byte
	var want []int32
	row, x := make([]float64, len(program.Net.Features)), make([]int32, len(program.Net.Features))
	for step := range 5000 {
		for i := range row {
			f := program.Net.Features[i]
			v := float32(f.Mean + f.Std*random.NormFloat64()*[]float64{1, 5, 100}[step%3])
			if step < len(special) {
				v = special[step]
			}
			row[i] = float64(v)
			input = binary.LittleEndian.AppendUint32(input, math.Float32bits(v))
		}
		program.Net.Encode(row, x)
		want = append(want, x...)
	}
	cmd := exec.Command(filepath.Join(dir, "convert"))
	cmd.Stdin = bytes.NewReader(input)
	got, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	const limits = 3 // int32 values that convert.c decodes for every output at the end
	tail := limits * len(program.Net.Outputs) * 4
	if len(got) != 2*len(want)+tail {
		t.Fatalf("C wrote %d bytes, expected %d", len(got), 2*len(want)+tail)
	}
	for i, w := range want {
		if g := int32(int16(binary.LittleEndian.Uint16(got[2*i:]))); g != w {
			t.Fatalf("step %d, feature %d: C %d, Go %d", i/len(row), i%len(row), g, w)
		}
	}
	got = got[2*len(want):]
	physical := make([]float64, len(program.Net.Outputs))
	for _, v := range []int32{math.MinInt32, 12345678, math.MaxInt32} {
		y := make([]int32, len(program.Net.Outputs))
		for o := range y {
			y[o] = v
		}
		program.Net.Decode(y, physical)
		for o := range y {
			if g := float64(math.Float32frombits(binary.LittleEndian.Uint32(got))); math.Abs(
				g-physical[o]) > math.Abs(physical[o])/(1<<23) {
				t.Errorf("decode(%d), output %d: C %g, Go %g", v, o, g, physical[o])
			}
			got = got[4:]
		}
	}
}
