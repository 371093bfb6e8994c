package frontend

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// member reads an array of testdata/vectors.npz, computed with numpy and scipy (see its README).
func member(t testing.TB, name string) []byte {
	t.Helper()
	archive, err := zip.OpenReader("testdata/vectors.npz")
	if err != nil {
		t.Fatal(err)
	}
	defer archive.Close()
	file, err := archive.Open(name + ".npy")
	if err != nil {
		t.Fatal(err)
	}
	raw, err := io.ReadAll(file)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// vectors reads arrays of floats.
func vectors(t testing.TB) func(name string) *model.Tensor {
	return func(name string) *model.Tensor {
		t.Helper()
		tensor, err := model.ReadNPY(member(t, name), name)
		if err != nil {
			t.Fatal(err)
		}
		return tensor
	}
}

// valuesBehind returns what stands behind the header of an array, which ends with a line break
// (NumPy reference, numpy.lib.format), and says of which type the values are.
func valuesBehind(t *testing.T, raw []byte, kind string) []byte {
	t.Helper()
	end := bytes.IndexByte(raw, '\n') + 1
	if !bytes.Contains(raw[:end], []byte("'"+kind+"'")) {
		t.Fatalf("%q, want %s", raw[:end], kind)
	}
	return raw[end:]
}

// codesOf reads an array of 16-bit codes, the low byte first.
func codesOf(t *testing.T, name string) []uint16 {
	t.Helper()
	raw := valuesBehind(t, member(t, name), "<u2")
	codes := make([]uint16, len(raw)/2)
	for i := range codes {
		codes[i] = binary.LittleEndian.Uint16(raw[2*i:])
	}
	return codes
}

// shape is a group of testdata/vectors.npz.
type shape struct{ samples, cycles, bits int }

func (s shape) String() string { return fmt.Sprintf("N%dc%db%d", s.samples, s.cycles, s.bits) }

// shapes are those of testdata/vectors.npz.
var shapes = []shape{{16, 1, 12}, {16, 2, 8}, {60, 1, 10}, {60, 3, 12}, {60, 4, 12}, {64, 1, 12},
	{64, 4, 12}, {64, 2, 16}, {64, 5, 14}, {100, 1, 12}, {100, 2, 14}, {100, 5, 10}, {160, 1, 12},
	{160, 4, 16}, {160, 3, 8}, {400, 1, 12}, {400, 5, 16}, {400, 4, 14}}

// vectorKinds are the columns of features in testdata/vectors.npz.
var vectorKinds = []string{"level", "trend", "minimum", "maximum", "swing", "rms", "ripple",
	"amplitude(1)", "amplitude(2)", "amplitude(3)", "amplitude(4)", "amplitude(5)", "phase(1)",
	"phase(2)", "phase(3)", "phase(4)", "phase(5)", "phase(1, other)", "distortion(2)",
	"distortion(3)", "distortion(4)", "distortion(5)", "distortion(6)", "distortion(7)"}

// frontEndOf computes every kind of a shape that its window allows, on two channels with the same
// converter; index says which columns of the vectors these are.
func frontEndOf(t *testing.T, s shape, c Converter) (f *FrontEnd, index []int) {
	t.Helper()
	f = &FrontEnd{Sampling: dataset.Sampling{Samples: s.samples, Rate: 6400, Period: 0.1}}
	for _, name := range []string{"own", "other"} {
		f.Channels = append(f.Channels, Channel{Name: name, Converter: c, Cycles: s.cycles,
			Floor: c.Step()})
	}
	for i, kind := range vectorKinds {
		d, err := ParseDefinition(kind)
		if err != nil {
			t.Fatal(err)
		}
		if 2*d.Order*s.cycles < s.samples {
			f.Features = append(f.Features, Feature{Name: kind, Definition: d, Other: 1, Scale: 1})
			index = append(index, i)
		}
	}
	return f, index
}

// Every kind against numpy in double precision, on 18 signals of 18 shapes (testdata/vectors.npz).
// Phases of lines below a converter step are what rounding left, and are no figures.
func TestFeaturesOfOneWindow(t *testing.T) {
	read := vectors(t)
	compared := 0
	for _, s := range shapes {
		at := s.String() + "/"
		limits, x, partner := read(at+"converter"), read(at+"x"), partnersOf(t, at+"partner")
		want := read(at + "features_of_x")
		converter := Converter{limits.Data[0], limits.Data[1], s.bits}
		f, index := frontEndOf(t, s, converter)
		codes := codesOf(t, at+"codes")
		for i, v := range x.Data {
			if got := converter.Code(v); got != codes[i] {
				t.Fatalf("%s: %v has the code %d, want %d", s, v, got, codes[i])
			}
		}
		window := func(i int) []float64 { return x.Data[i*s.samples : (i+1)*s.samples] }
		for i := range partner {
			samples := &dataset.Samples{T: []float64{0},
				X: [][]float64{window(i), window(partner[i])}}
			analyses := f.Analyses(samples)
			for k := range f.Features {
				feature := &f.Features[k]
				d := feature.Definition
				faint := d.Kind == Phase && (analyses[0][0].Amplitude(d.Order, s.samples) <
					converter.Step() || d.Other != "" &&
					analyses[1][0].Amplitude(d.Order, s.samples) < converter.Step())
				if faint {
					continue
				}
				got := f.Compute(feature, analyses)[0]
				expected := want.Data[i*len(vectorKinds)+index[k]]
				tolerance := 1e-9 * (1 + math.Abs(expected))
				apart := got - expected
				if d.Kind == Phase {
					apart = WrapAngle(apart)
				}
				if compared++; math.Abs(apart) > tolerance {
					t.Errorf("%s, signal %d, %s: %v, want %v", s, i, d, got, expected)
				}
			}
		}
	}
	if compared < 6000 {
		t.Errorf("only %d figures were compared", compared)
	}
}

// partnersOf reads an array of whole numbers of 64 bits.
func partnersOf(t *testing.T, name string) []int {
	t.Helper()
	raw := valuesBehind(t, member(t, name), "<i8")
	partners := make([]int, len(raw)/8)
	for i := range partners {
		partners[i] = int(binary.LittleEndian.Uint64(raw[8*i:]))
	}
	return partners
}

// Steps that look back, against numpy (testdata/vectors.npz, sequence1 to 3): slope, relative to a
// number and to the mean so far, and the phase against another channel.
func TestFeaturesOfASequence(t *testing.T) {
	read := vectors(t)
	for n := 1; n <= 3; n++ {
		at := fmt.Sprintf("sequence%d/", n)
		setting, x := read(at+"setting").Data, read(at+"x")
		limits, want := read(at+"converter").Data, read(at+"features_of_x").Data
		samples, steps := int(setting[0]), x.Shape[1]
		converter := Converter{limits[0], limits[1], int(limits[2])}
		channel := Channel{Converter: converter, Cycles: int(setting[1]), Floor: converter.Step()}
		number, mean := channel, channel
		number.Baseline.Value, mean.Baseline.Seconds = setting[4], setting[3]
		f := &FrontEnd{Sampling: dataset.Sampling{Samples: samples, Rate: 6400, Period: setting[2]},
			Channels: []Channel{number, mean, channel}}
		own, other := x.Data[:steps*samples], x.Data[steps*samples:]
		s := &dataset.Samples{X: [][]float64{own, own, other}}
		for i := range steps {
			s.T = append(s.T, float64(i)*setting[2])
		}
		columns := []Feature{{Definition: Definition{Kind: Level}},
			{Definition: Definition{Kind: Slope}},
			{Definition: Definition{Kind: Relative}}, {Definition: Definition{Kind: Relative},
				Channel: 1}, {},
			{Definition: Definition{Kind: Phase, Order: 1, Other: "other"}, Other: 2}}
		f.Features = columns
		analyses := f.Analyses(s)
		for k := range columns {
			if columns[k].Definition.Kind == "" {
				continue // the mean of the whole stretch, which no device can know
			}
			columns[k].Scale = 1
			for step, got := range f.Compute(&columns[k], analyses) {
				expected := want[step*len(columns)+k]
				if math.Abs(got-expected) > 1e-9*(1+math.Abs(expected)) {
					t.Errorf("sequence %d, step %d, %s: %v, want %v", n, step,
						columns[k].Definition, got, expected)
				}
			}
		}
	}
}

// handbookInputs make the samples of testdata/checks.csv of their descriptions: n counts samples, N
// of them stand in a window, M in a cycle.
var handbookInputs = []struct {
	pattern *regexp.Regexp
	value   func(v []float64, n, samples, cycles float64) float64
}{
	{regexp.MustCompile(`^square, .*M = (\d+)$`), func(v []float64, n, _, _ float64) float64 {
		if math.Mod(n, v[0]) < v[0]/2 {
			return 1
		}
		return -1
	}},
	{regexp.MustCompile(`^triangle .*M = (\d+)$`), func(v []float64, n, _, _ float64) float64 {
		_, part := math.Modf(n/v[0] + 0.5)
		return 1 - 4*math.Abs(part-0.5)
	}},
	{regexp.MustCompile(`^sawtooth .*M = (\d+)$`), func(v []float64, n, _, _ float64) float64 {
		return (2*math.Mod(n, v[0]) - (v[0] - 1)) / v[0]
	}},
	{regexp.MustCompile(`^(\S+) \+ (\S+) cos\(2 pi (\S+) n/(\d+) \+ (\S+)\)$`),
		func(v []float64, n, _, _ float64) float64 {
			return v[0] + v[1]*math.Cos(2*math.Pi*v[2]*n/v[3]+v[4])
		}},
	{regexp.MustCompile(`^cos\(2 pi (\S+) n/(\d+)\) at cycles`),
		func(v []float64, n, _, _ float64) float64 {
			return math.Cos(2 * math.Pi * v[0] * n / v[1])
		}},
	{regexp.MustCompile(`^(\S+) - (\S+) n, N`), func(v []float64, n, _, _ float64) float64 {
		return v[0] - v[1]*n
	}},
	{regexp.MustCompile(`^(\S+) \+ cos \+ (\S+) \(2nd\) \+ (\S+) \(4th\)`),
		func(v []float64, n, samples, cycles float64) float64 {
			w := 2 * math.Pi * cycles * n / samples
			return v[0] + math.Cos(w) + v[1]*math.Cos(2*w) + v[2]*math.Cos(4*w)
		}},
}

// Handbook values: Fourier series of square, triangle and sawtooth, sums of sampled exponentials,
// least squares, ratios of IEEE 1459 and IEC 61000-4-7 (testdata/checks.csv, whose column source
// names where each comes from).
func TestHandbookValues(t *testing.T) {
	text, err := os.ReadFile("testdata/checks.csv")
	if err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(text string) float64 {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	checked := 0
	for _, line := range lines[1:] {
		id, input, quantity := line[0], line[1], line[4]
		samples, cycles := int(number(line[2])), int(number(line[3]))
		var x []float64
		for _, in := range handbookInputs {
			found := in.pattern.FindStringSubmatch(input)
			if found == nil {
				continue
			}
			var values []float64
			for _, text := range found[1:] {
				values = append(values, number(text))
			}
			for n := range samples {
				x = append(x, in.value(values, float64(n), float64(samples), float64(cycles)))
			}
			break
		}
		if x == nil {
			t.Fatalf("%s: no signal %q", id, input)
		}
		// trends are per sample
		f := &FrontEnd{Sampling: dataset.Sampling{Samples: samples, Rate: 1},
			Channels: []Channel{{Cycles: cycles}}}
		var got float64
		if quantity == "crest" { // no kind of feature; checks minimum, maximum and rms
			a := NewAnalyser(f.Sampling, cycles, 0).Analyse(x)
			got = math.Max(a.Maximum, -a.Minimum) / a.RMS
		} else {
			d, err := ParseDefinition(quantity)
			if err != nil {
				t.Fatal(err)
			}
			f.Features = []Feature{{Definition: d, Scale: 1}}
			s := &dataset.Samples{T: []float64{0}, X: [][]float64{x}}
			got = f.Compute(&f.Features[0], f.Analyses(s))[0]
		}
		want, tolerance := number(line[5]), number(line[6])
		apart := got - want
		if strings.HasPrefix(quantity, "phase") {
			apart = WrapAngle(apart)
		}
		tolerance = math.Max(tolerance, 5e-12*math.Abs(want)) // values have twelve digits
		if checked++; !(math.Abs(apart) <= tolerance) {
			t.Errorf("%s, %s of %q: %v, want %v within %v", id, quantity, input, got, want,
				tolerance)
		}
	}
	if checked != 321 {
		t.Errorf("%d values were checked", checked)
	}
}
