package emit

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/frontend"
	"kerf/quant"
	"kerf/testdata/randomnet"
)

// selftestProgram is a network on features of every kind, of two channels with samples of a
// vibration with harmonics that comes and goes, and some that are given. Its self-test is made of
// these samples.
func selftestProgram(t testing.TB, given int) *Program {
	t.Helper()
	random := rand.New(rand.NewPCG(3, 18))
	front := &frontend.FrontEnd{Sampling: dataset.Sampling{Samples: 64, Rate: 6400, Period: 0.1},
		Channels: []frontend.Channel{
			{Name: "pump", Cycles: 4, Converter: frontend.Converter{High: 250, Bits: 12},
				Floor: 0.5, Baseline: frontend.Baseline{Seconds: 2}},
			{Name: "tank", Cycles: 4, Converter: frontend.Converter{Low: -1, High: 9, Bits: 10},
				Floor: 0.02, Baseline: frontend.Baseline{Value: 3}}}}
	for i, texts := range [][]string{{"level", "relative", "slope", "trend", "minimum", "maximum",
		"swing", "rms", "ripple", "amplitude(1)", "amplitude(2)", "amplitude(3)", "amplitude(4)",
		"amplitude(5)", "phase(1)", "phase(1, tank)", "distortion(5)"},
		{"relative", "slope", "rms", "amplitude(1)", "phase(1)"}} {
		for _, text := range texts {
			d, err := frontend.ParseDefinition(text)
			if err != nil {
				t.Fatal(err)
			}
			f := frontend.Feature{Name: front.Channels[i].Name + " " + text, Definition: d,
				Channel: i, Other: 1, Scale: 1}
			if d.Kind == frontend.Phase && d.Other == "" && i == 0 {
				f.Scale, f.Offset, f.Wrap = -1, math.Pi/2, true // a notebook that has the sine
			}
			front.Features = append(front.Features, f)
		}
	}
	samples, sequences := selftestSamples(random, front), []*dataset.Sequence(nil)
	float := randomnet.Network(random, len(front.Features)+given, randomnet.OneGRU, 2)
	var index []int
	columns := make([][]float64, len(front.Features))
	for _, s := range samples {
		analyses := front.Analyses(s)
		sequence := &dataset.Sequence{Name: s.Sequence, Scenario: s.Scenario, Steps: len(s.T),
			X: make([]float64, len(s.T)*len(float.Features)),
			Y: make([]float64, len(s.T)*len(float.Outputs))}
		for i := range front.Features {
			values := front.Compute(&front.Features[i], analyses)
			columns[i] = append(columns[i], values...)
			for step, v := range values {
				sequence.X[step*len(float.Features)+i] = v
			}
		}
		sequences = append(sequences, sequence)
	}
	for i, f := range front.Features {
		index = append(index, i)
		mean, std := meanAndStd(columns[i])
		float.Features[i] = dataset.Feature{Name: f.Name, Mean: mean, Std: std}
	}
	rec := &dataset.Recordings{Features: len(float.Features), Outputs: len(float.Outputs),
		Sequences: sequences}
	net, err := quant.Quantize(float, quant.Calibrate(float, rec),
		randomnet.Formats(random, float.Net), quant.Roundings[0])
	if err != nil {
		t.Fatal(err)
	}
	p := &Program{Name: "leakair", Version: "test", JobHash: fmt.Sprintf("%064x", 0),
		VerdictLine: "test", Description: float.Net.String(), Net: net, Vectors: Vectors(net, rec),
		KeptUnits: [][]int{nil}, Front: NewFrontEnd(front, index, net)}
	for j := range net.Layers[0].Units {
		p.KeptUnits[0] = append(p.KeptUnits[0], j)
	}
	p.FrontVectors = NewFrontVectors(p.Front, net, sequences, samples, []string{"pump", "tank"})
	return p
}

func meanAndStd(values []float64) (mean, std float64) {
	for _, v := range values {
		mean += v / float64(len(values))
	}
	for _, v := range values {
		std += float64((v-mean)*(v-mean)) / float64(len(values))
	}
	return mean, math.Sqrt(std)
}

// selftestSamples are three sequences of 40 windows.
func selftestSamples(random *rand.Rand, front *frontend.FrontEnd) []*dataset.Samples {
	var all []*dataset.Samples
	for i := range 3 {
		s := &dataset.Samples{Sequence: fmt.Sprint(i), Scenario: "random"}
		for _, c := range front.Channels {
			wide := c.Converter.High - c.Converter.Low
			level, tone := c.Converter.Low+wide*(0.3+0.2*random.Float64()), wide*0.05
			phase, column := 6*random.Float64(), []float64(nil)
			for range 40 {
				level += wide * 0.01 * random.NormFloat64()
				tone *= 1 + 0.1*random.NormFloat64()
				phase += 0.3 * random.NormFloat64()
				for n := range front.Sampling.Samples {
					x := level + wide*0.002*random.NormFloat64()
					for k := 1; k <= 5; k++ {
						angle := 2*math.Pi*float64(k*c.Cycles*n)/float64(front.Sampling.Samples) +
							float64(k)*phase
						x += tone / float64(k*k) * math.Cos(angle)
					}
					column = append(column, x)
				}
			}
			s.X = append(s.X, column)
		}
		for step := range 40 {
			s.T = append(s.T, float64(step)*front.Sampling.Period)
		}
		all = append(all, s)
	}
	return all
}

// Whatever is changed in the record of a front end, it is refused, or the C or the record that are
// made of it are others, or the windows of the self-test give other integers.
func TestEveryEntryOfAFrontEndIsChecked(t *testing.T) {
	p := selftestProgram(t, 1)
	p.Period = 0.1
	p.Vectors = p.Vectors[:1] // what is left out is compared with the C, and by running it
	p.FrontVectors.Recorded = p.FrontVectors.Recorded[:1]
	p.FrontVectors.Windows = p.FrontVectors.Windows[:1]
	want := frontText(t, p)
	text, err := p.NetworkJSON()
	if err != nil {
		t.Fatal(err)
	}
	f, err := ReadNetworkFile(text)
	if err != nil {
		t.Fatal(err)
	}
	notices := func() bool {
		again := *p
		if again.Front, again.FrontVectors, err = f.FrontEnd(p.Net); err != nil {
			return true
		}
		changed, err := Indented(f)
		if err != nil {
			t.Fatal(err)
		}
		made, err := again.NetworkJSON()
		if err != nil {
			t.Fatal(err)
		}
		return frontText(t, &again) != want || !bytes.Equal(made, changed)
	}
	if notices() {
		t.Fatal("the record as it was made is not accepted")
	}
	for _, leaf := range leaves(reflect.ValueOf(f.Front).Elem(), "front_end") {
		if strings.Contains(leaf.name, ".Windows") || strings.Contains(leaf.name, ".Recorded") {
			continue
		}
		old := reflect.New(leaf.value.Type()).Elem()
		old.Set(leaf.value)
		for _, change := range changesOf(leaf.value) {
			leaf.value.Set(change)
			if !notices() {
				t.Errorf("%s became %v instead of %v: not noticed", leaf.name, change, old)
			}
			leaf.value.Set(old)
		}
	}
}

// frontText returns header and source of a front end.
func frontText(t *testing.T, p *Program) string {
	t.Helper()
	header, err := p.header()
	if err != nil {
		t.Fatal(err)
	}
	source, err := p.newFront().source("")
	if err != nil {
		t.Fatal(err)
	}
	return header + source
}

// leaf is a value within others.
type leaf struct {
	name  string
	value reflect.Value
}

func leaves(v reflect.Value, name string) []leaf {
	var all []leaf
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			all = append(all, leaves(v.Field(i), name+"."+v.Type().Field(i).Name)...)
		}
	case reflect.Slice:
		for i := range v.Len() {
			all = append(all, leaves(v.Index(i), fmt.Sprintf("%s[%d]", name, i))...)
		}
	default:
		return []leaf{{name, v}}
	}
	return all
}

// changesOf returns other values.
func changesOf(v reflect.Value) []reflect.Value {
	switch v.Kind() {
	case reflect.Bool:
		return []reflect.Value{reflect.ValueOf(!v.Bool())}
	case reflect.Int:
		return []reflect.Value{reflect.ValueOf(int(v.Int()) + 1)}
	case reflect.Float64:
		return []reflect.Value{reflect.ValueOf(v.Float() + 1),
			reflect.ValueOf(float64(v.Float()*0.9) + 0.015)}
	}
	return []reflect.Value{reflect.ValueOf(v.String() + "x")}
}

// The self-test of the front end has at most 4 KiB of windows, codes of two sequences among them,
// and notices front ends that are slightly wrong: at the end of a baseline, where a floor is just
// met or just missed, at both ends of the codes and beyond, where an angle wraps, and in constants.
func TestSelftestNoticesAWrongFrontEnd(t *testing.T) {
	p := selftestProgram(t, 1)
	bytes, resets := 0, 0
	for _, w := range p.FrontVectors.Windows {
		bytes += windowRowBytes + 2*len(w.X) + 4*len(w.Y)
		resets += flag(w.Reset && w.Wave == Recorded && w.Seed == 0 && w.Skip == 0)
	}
	for _, recorded := range p.FrontVectors.Recorded {
		bytes += codeBytes * len(recorded) * len(recorded[0])
	}
	if bytes > 4096 || bytes < 3500 || resets != 2 {
		t.Errorf("%d bytes of windows, %d recorded sequences", bytes, resets)
	}
	dir := t.TempDir()
	writeC(t, p, dir)
	const encodes = "-DLEAKAIR_WITH_ENCODE_ONE"
	compile(t, dir, "gcc", "-std=c99", encodes, "-c", "leakair.c", "leakair_selftest.c")
	source, err := os.ReadFile(filepath.Join(dir, "leakair_front.c"))
	if err != nil {
		t.Fatal(err)
	}
	passes := func(text string) bool {
		if err := os.WriteFile(filepath.Join(dir, "wrong.c"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		compile(t, dir, "gcc", "-std=c99", encodes, "wrong.c", "leakair.o", "leakair_selftest.o",
			"-o", "wrong")
		return exec.Command(filepath.Join(dir, "wrong")).Run() == nil
	}
	if !passes(string(source)) {
		t.Fatal("the self-test fails as it is")
	}
	scaled := func(by float64) func(string) string {
		return func(number string) string {
			v, err := strconv.ParseFloat(number, 64)
			if err != nil {
				t.Fatal(err)
			}
			return fmt.Sprintf("%.0f", v*by)
		}
	}
	to := func(text string) func(string) string { return func(string) string { return text } }
	for _, wrong := range []struct {
		what, where string // the first group is changed, at up to six of the places found
		change      func(string) string
		places      int
	}{
		{"a baseline ends a step later", `if \(steps < (20)U\) \{\s+f->base_pump`, to("21"), 1},
		{"a baseline ends a step earlier", `if \(steps < (20)U\) \{\s+f->base_pump`, to("19"), 1},
		{"steps of a baseline", `if \(steps < (20)U\) \{\s+steps\+\+`, to("21"), 1},
		{"a floor is higher", `(?:angles_\w+|14), UINT32_C\((\d+)\)\)`, scaled(1.002), 3},
		{"a floor is lower", `(?:angles_\w+|14), UINT32_C\((\d+)\)\)`, scaled(0.998), 3},
		{"the floor of a baseline is higher", `steps, INT32_C\(131072\), INT32_C\((\d+)\)`,
			scaled(1.02), 1},
		{"the floor of a baseline is lower", `steps, INT32_C\(131072\), INT32_C\((\d+)\)`,
			scaled(0.98), 1},
		{"codes are not limited", `(LEAKAIR_LIMITED\(code\[\d\], \d+\))`,
			func(call string) string {
				return call[len("LEAKAIR_LIMITED("):strings.Index(call, ",")]
			}, 2},
		{"the largest code begins too high", `f->high_pump = (0);`, to("1"), 1},
		{"the smallest code begins too low", `f->low_pump = (UINT16_MAX);`, to("4094"), 1},
		{"half a turn", `turned = (UINT32_C\(0x80000000\));`, to("0x7FFEFFFF"), 1},
		{"a sample is taken too many", `uint8_t result = (2);`, to("0"), 1},
		{"features of part of a window", `if \(f->full == 0U\) \{\s+(return);`, to(";"), 1},
		{"no window before", `f->before_pump = (sum_pump);`, to("0"), 1},
		{"a given feature is scaled as another one", `\(value, &leakair_scales\[(22)\]\)`,
			to("21"), 1},
		{"multiplier", `(?m)^    \{ -?\d+, -?(\d+), `, scaled(1.0001), 45},
		{"middle", `(?m)^    \{ -?(\d+), -?\d+, `, scaled(1.02), 45},
	} {
		places := regexp.MustCompile(wrong.where).FindAllSubmatchIndex(source, -1)
		if len(places) != wrong.places {
			t.Errorf("%s: %d places", wrong.what, len(places))
		}
		for i := 0; i < len(places); i += (len(places) + 5) / 6 {
			at := places[i]
			text := string(source[:at[2]]) + wrong.change(string(source[at[2]:at[3]])) +
				string(source[at[3]:])
			if passes(text) {
				t.Errorf("%s, place %d: not noticed", wrong.what, i)
			}
		}
	}
}

// Where every feature is computed there is no name_encode_one unless it is asked for, and the
// self-test does not call it.
func TestNoValuesWithoutGivenFeatures(t *testing.T) {
	for _, hasGiven := range []bool{false, true} {
		p := selftestProgram(t, flag(hasGiven))
		files, err := p.CFiles()
		if err != nil {
			t.Fatal(err)
		}
		header := string(files["leakair.h"])
		if !strings.Contains(header, "All zeros, as static\n * memory starts, are no window") ||
			!strings.Contains(header, "LEAKAIR_SELFTEST_NO_STDIO") {
			t.Error("the header does not say how a front end starts, or how to do without stdio")
		}
		dir := t.TempDir()
		writeC(t, p, dir)
		compile(t, dir, append(append([]string{"gcc", "-std=c99", "-O1"}, strict...),
			"leakair.c", "leakair_front.c", "leakair_selftest.c", "-o", "selftest")...)
		program := filepath.Join(dir, "selftest")
		if out, err := exec.Command(program).CombinedOutput(); err != nil {
			t.Errorf("%v: %s", err, out)
		}
		names, err := exec.Command("nm", program).Output()
		if err != nil {
			t.Fatal(err)
		}
		if has := strings.Contains(string(names), "leakair_encode_one"); has != hasGiven {
			t.Errorf("given features: %v; name_encode_one: %v", hasGiven, has)
		}
	}
}

// Twice these cycles are no number any more, and sums of them would have no end.
func TestCyclesBeyondAWindowAreRefused(t *testing.T) {
	p := selftestProgram(t, 1)
	r := p.frontRecord()
	for i := range r.Channels {
		r.Channels[i].Cycles = math.MaxInt/2 + 1
	}
	if _, _, err := r.frontEnd(p.Net); err == nil {
		t.Error("half of all cycles that can be counted are taken")
	}
}
