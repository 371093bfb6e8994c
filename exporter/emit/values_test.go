package emit

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/testdata/randomnet"
)

// name_encode_one gives the integers of Go for every feature, over the whole range of int32, with a
// front end and without one; name_encode_checked gives those of name_encode and tells what is
// outside.
func TestValuesAgreeWithGo(t *testing.T) {
	driver, err := filepath.Abs(filepath.Join("testdata", "values.c"))
	if err != nil {
		t.Fatal(err)
	}
	plain := randomProgram(t, rand.New(rand.NewPCG(7, 4)), randomnet.OneGRU)
	plain.Net.Features[0].Mean, plain.Net.Features[0].Std = 1e6, 1e-3
	for name, p := range map[string]*Program{"plain": plain, "front": selftestProgram(t, 2),
		"front alone": selftestProgram(t, 0)} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			writeC(t, p, dir)
			command := append([]string{"gcc", "-std=c99", "-O2", "-I.", "-DLEAKAIR_WITH_FLOAT",
				"-DLEAKAIR_WITH_ENCODE_ONE", "-fsanitize=undefined,address",
				"-fno-sanitize-recover=all"}, strict...)
			command = append(command, "leakair.c", driver, "-o", "values")
			if p.Front != nil {
				command = append(command, "leakair_front.c")
			}
			compile(t, dir, command...)
			input, want := valueSteps(p)
			cmd := exec.Command(filepath.Join(dir, "values"))
			cmd.Stdin = bytes.NewReader(input)
			got, err := cmd.Output()
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				at := 0
				for at < min(len(got), len(want)) && got[at] == want[at] {
					at++
				}
				t.Errorf("C and Go differ at byte %d of %d and %d", at, len(got), len(want))
			}
		})
	}
}

// valueSteps returns the input of values.c and what it has to print by Go.
func valueSteps(p *Program) (input, want []byte) {
	random := rand.New(rand.NewPCG(1, 4))
	values := []int32{math.MinInt32, math.MaxInt32, 0, 1, -1, 1 << 30, -1 << 30}
	for i, f := range p.Net.Features {
		middle := math.Ldexp(f.Mean, p.valueFraction(i))
		for range 300 {
			near := middle + math.Ldexp(f.Std*random.NormFloat64(), p.valueFraction(i))
			values = append(values, int32(random.Uint32()),
				int32(min(max(near, math.MinInt32), math.MaxInt32)))
		}
	}
	input = binary.LittleEndian.AppendUint32(nil, uint32(len(values)))
	for _, v := range values {
		input = binary.LittleEndian.AppendUint32(input, uint32(v))
		for i := range p.Net.Features {
			want = binary.LittleEndian.AppendUint16(want, uint16(p.encodeOne(i, v)))
		}
	}
	n := len(p.Net.Features)
	row, x := make([]float64, n), make([]int32, n)
	for range 500 {
		mask, count := make([]byte, (n+7)/8), uint16(0)
		for i, f := range p.Net.Features {
			mean, factor := p.Net.EncodeConstants(i)
			v := float32(f.Mean + f.Std*random.NormFloat64()*[]float64{1, 30, 1e4}[random.IntN(3)])
			if random.IntN(10) == 0 {
				v = float32(math.NaN())
			}
			row[i] = float64(v)
			input = binary.LittleEndian.AppendUint32(input, math.Float32bits(v))
			scaled := float32(float32(v-mean) * factor)
			if !(scaled < math.MaxInt16 && scaled > math.MinInt16) {
				mask[i/8] |= 1 << (i % 8)
				count++
			}
		}
		p.Net.Encode(row, x)
		for _, v := range x {
			want = binary.LittleEndian.AppendUint16(want, uint16(v))
		}
		want = append(binary.LittleEndian.AppendUint16(want, count), mask...)
	}
	return input, want
}

// What name_encode_one makes of a value is the rounded integer of its definition to one step, as
// long as the value is within 32 standard deviations: computed anew here in float64.
func TestEncodeOneIsTheDefinition(t *testing.T) {
	p := randomProgram(t, rand.New(rand.NewPCG(8, 4)), randomnet.OneGRU)
	random := rand.New(rand.NewPCG(2, 4))
	for i, f := range p.Net.Features {
		fraction := p.valueFraction(i)
		for range 1000 {
			v := int32(math.Round(math.Ldexp(f.Mean+f.Std*(random.Float64()*64-32), fraction)))
			exact := (math.Ldexp(float64(v), -fraction) - f.Mean) / f.Std *
				math.Ldexp(1, p.Net.InputFraction)
			exact = min(max(exact, math.MinInt16), math.MaxInt16)
			// 2^-14 of the multiplier is rounded (frontend/scaling.go)
			if got := float64(p.encodeOne(i, v)); math.Abs(got-exact) > 1+math.Abs(exact)/(1<<14) {
				t.Fatalf("feature %d, value %d: %g, by the definition %g", i, v, got, exact)
			}
		}
	}
}

// The macros for values stand in the header with the numbers of the features; a name that is too
// long has none, and the header says so.
func TestValueMacros(t *testing.T) {
	p := randomProgram(t, rand.New(rand.NewPCG(9, 4)), randomnet.OneGRU)
	p.ModelVersion = `net "2.1"\`
	long := strings.Repeat("l", 40)
	p.Net.Features[0] = dataset.Feature{Name: "oil", Mean: -41.5, Std: 18}
	p.Net.Features[1].Name = long
	p.Ranges = make([]Range, len(p.Net.Features))
	p.Ranges[0] = Range{-60.25, 95}
	files, err := p.CFiles()
	if err != nil {
		t.Fatal(err)
	}
	header := string(files["leakair.h"])
	for _, want := range []string{
		fmt.Sprintf("#define LEAKAIR_X_OIL_VALUE_FRACTION_BITS %d\n", p.valueFraction(0)),
		"#define LEAKAIR_X_OIL_VALUE_MEAN (-4.15000000e+01f)\n",
		"#define LEAKAIR_X_OIL_VALUE_STD (1.80000000e+01f)\n",
		"#define LEAKAIR_X_OIL_VALUE_MIN (-6.02500000e+01f)\n",
		"#define LEAKAIR_X_OIL_VALUE_MAX (9.50000000e+01f)\n",
		"/* No constants of " + long + ": their macros would have more than 63 characters. */\n",
		`#define LEAKAIR_MODEL_VERSION "net \"2.1\"<U+005C>" /* as the job has it */` + "\n",
	} {
		if !strings.Contains(header, want) {
			t.Errorf("the header has no %q", want)
		}
	}
	if strings.Contains(header, strings.ToUpper(long)+"_VALUE") {
		t.Error("a macro of more than 63 characters")
	}
}

// Features whose values would have the macro of another feature are refused.
func TestValueMacrosClash(t *testing.T) {
	err := CheckNames("leakair", []dataset.Feature{{Name: "oil"}, {Name: "oil_value_mean"}}, nil,
		nil)
	if err == nil || !strings.Contains(err.Error(), "name clash in C") {
		t.Errorf("got %v", err)
	}
}

// Ranges are those of the columns of the features, over all sequences.
func TestRanges(t *testing.T) {
	rec := &dataset.Recordings{Features: 3, Sequences: []*dataset.Sequence{
		{Steps: 2, X: []float64{1, 20, -3, 4, 50, -6}}, {Steps: 1, X: []float64{0, 70, -1}}}}
	got := Ranges([]int{2, 0}, rec)
	if want := []Range{{-6, -1}, {0, 4}}; got[0] != want[0] || got[1] != want[1] {
		t.Errorf("got %v, want %v", got, want)
	}
}
