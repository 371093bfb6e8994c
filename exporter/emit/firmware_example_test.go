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

	"kerf/dataset"
	"kerf/frontend"
	"kerf/quant"
	"kerf/testdata/randomfront"
	"kerf/testdata/randomnet"
)

// What happens to the example: its report of one window lasts into the middle of a later burst.
const (
	firmwarePeriods = 10
	lateAfter       = 2 // the window reported too slowly; the next one is kept, two are lost
	latePeriod      = 5
	lateTick        = 30
	thermometer     = 41 * 16 // in 1/16 degC, one more each period
)

// The interrupt and the main loop of docs/firmware.md, as they stand there, run with the front end
// of the demo's channels and a network: their outputs are those of Go for the windows up to the
// lost ones, and after those for a new sequence that begins with a whole burst. Changes that forget
// a reset or begin in the middle of a burst are found.
func TestFirmwareExample(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "docs", "firmware.md"))
	if err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile("(?s)```c\n(.*?)```").FindSubmatch(text)
	if m == nil {
		t.Fatal("docs/firmware.md has no example")
	}
	example := string(m[1])
	p := firmwareProgram(t)
	codes := randomfront.Codes(3, p.Front.Integer.Front, firmwarePeriods)
	want := firmwareOutputs(p, codes, 0, lateAfter+2) +
		firmwareOutputs(p, codes, latePeriod+1, firmwarePeriods)
	if got := runFirmware(t, p, codes, example); got != want {
		t.Errorf("the example gives\n%sGo\n%s", got, want)
	}
	const reset = "begin_sequence(); /* a window was lost after the last step */"
	for name, change := range map[string][2]string{
		"no reset of the network":   {reset, "leakair_front_reset(&front); sampling = WAITING;"},
		"no reset of the front end": {reset, "leakair_reset(&state); sampling = WAITING;"},
		"goes on within the burst":  {"sampling = WAITING; /* last */", "sampling = RUNNING;"},
		"does not stop":             {"sampling = STOPPED; /* until", "(void)0; /* until"},
	} {
		changed := strings.Replace(example, change[0], change[1], 1)
		if changed == example {
			t.Fatalf("%s: the text to change is not there", name)
		}
		if runFirmware(t, p, codes, changed) == want {
			t.Errorf("%s: not found", name)
		}
	}
}

// firmwareProgram is a network on features of the demo's channels and the oil temperature.
func firmwareProgram(t *testing.T) *Program {
	random := rand.New(rand.NewPCG(8, 18))
	front := &frontend.FrontEnd{Sampling: dataset.Sampling{Samples: 64, Rate: 6400, Period: 0.1}}
	var features []dataset.Feature
	var encodings []frontend.Encoding
	for i, c := range []struct {
		name string
		high float64
	}{{"supply", 250}, {"return", 10}, {"case_drain", 4}} {
		front.Channels = append(front.Channels, frontend.Channel{Name: c.name, Cycles: 4,
			Converter: frontend.Converter{High: c.high, Bits: 12}, Floor: c.high / 1000,
			Baseline: frontend.Baseline{Seconds: 0.3}})
		for _, definition := range []string{"level", "slope", "relative", "amplitude(1)"} {
			d, err := frontend.ParseDefinition(definition)
			if err != nil {
				t.Fatal(err)
			}
			f := dataset.Feature{Name: c.name + "_" + string(d.Kind), Mean: c.high / 4, Std: c.high}
			if d.Kind == frontend.Slope {
				f.Mean, f.Std = 0, 10*c.high
			}
			features = append(features, f)
			front.Features = append(front.Features,
				frontend.Feature{Name: f.Name, Channel: i, Definition: d, Scale: 1})
		}
	}
	features = append(features, dataset.Feature{Name: "oil_temperature", Mean: 41, Std: 18})
	float := randomnet.Network(random, len(features), randomnet.OneGRU, 2)
	rec := randomnet.Recordings(random, float)
	net, err := quant.Quantize(float, quant.Calibrate(float, rec),
		randomnet.Formats(random, float.Net), quant.Roundings[0])
	if err != nil {
		t.Fatal(err)
	}
	net.Features = features
	p := &Program{Name: "leakair", Version: "test", JobHash: fmt.Sprintf("%064x", 0),
		VerdictLine: "test", Description: float.Net.String(), Net: net, Vectors: Vectors(net, rec)}
	p.KeptUnits = [][]int{nil}
	for j := range net.Layers[0].Units {
		p.KeptUnits[0] = append(p.KeptUnits[0], j)
	}
	p.Front = &FrontEnd{}
	for i, f := range features[:len(front.Features)] {
		encodings = append(encodings, frontend.Encoding{Mean: f.Mean, Std: f.Std,
			FractionBits: net.InputFraction})
		p.Front.Index = append(p.Front.Index, i)
	}
	p.Front.Integer = frontend.NewInteger(front, encodings)
	return p
}

// firmwareOutputs returns what is reported of a sequence of windows.
func firmwareOutputs(p *Program, codes [][]uint16, first, behind int) string {
	var lines strings.Builder
	const samples = 64
	own := make([][]uint16, len(codes))
	for c := range codes {
		own[c] = codes[c][first*samples : behind*samples]
	}
	oil := len(p.Net.Features) - 1
	fraction := p.valueFraction(oil)
	state := p.Net.NewState()
	x, y := make([]int32, len(p.Net.Features)), make([]int32, len(p.Net.Outputs))
	for i, computed := range p.Front.Integer.Encode(own, behind-first) {
		period := first + i
		if period == lateAfter+1 {
			period = latePeriod // when main takes it, with the temperature then
		}
		for j, v := range computed {
			x[j] = int32(v)
		}
		x[oil] = int32(p.encodeOne(oil, int32(thermometer+period)<<(fraction-4)))
		p.Net.Step(state, x, y)
		fmt.Fprintf(&lines, "period %d:", period)
		for _, v := range y {
			fmt.Fprintf(&lines, " %d", v)
		}
		lines.WriteString("\n")
	}
	return lines.String()
}

// runFirmware compiles and runs the example on a board of the host.
func runFirmware(t *testing.T, p *Program, codes [][]uint16, example string) string {
	t.Helper()
	const samples = 64
	var b strings.Builder
	fmt.Fprintf(&b, "static const uint16_t codes[%d][%d][%d] = {\n", firmwarePeriods, samples,
		len(codes))
	for w := range firmwarePeriods {
		b.WriteString("{")
		for n := range samples {
			fmt.Fprintf(&b, "{%d,%d,%d},", codes[0][w*samples+n], codes[1][w*samples+n],
				codes[2][w*samples+n])
		}
		b.WriteString("},\n")
	}
	b.WriteString("};\n")
	dir := t.TempDir()
	writeC(t, p, dir)
	for name, content := range map[string]string{"firmware.c": example, "codes.h": b.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	board, err := filepath.Abs("testdata/firmware_board.c")
	if err != nil {
		t.Fatal(err)
	}
	command := append([]string{"gcc", "-std=c99", "-O1", "-fsanitize=undefined,address",
		"-fno-sanitize-recover=all", "-I.", fmt.Sprintf("-DPERIODS=%dU", firmwarePeriods),
		fmt.Sprintf("-DLATE_AFTER=%dU", lateAfter), fmt.Sprintf("-DLATE_PERIOD=%dU", latePeriod),
		fmt.Sprintf("-DLATE_TICK=%dU", lateTick), fmt.Sprintf("-DTHERMOMETER=%d", thermometer)},
		strict...)
	compile(t, dir, append(command, "firmware.c", "leakair.c", "leakair_front.c", board, "-o",
		"firmware")...)
	out, err := exec.Command(filepath.Join(dir, "firmware")).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return string(out)
}
