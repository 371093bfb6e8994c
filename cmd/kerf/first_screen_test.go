package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"kerf/dataset"
	"kerf/model"
)

// The first screen of a plan is what it was when it was last read: of jobs that fit, that break a
// limit, that break a tolerance, that have too few recordings and whose network explains little,
// and of the largest job, whose tables all keep to the page as well. KERF_UPDATE_SCREENS=1 writes
// the screens anew.
func TestFirstScreens(t *testing.T) {
	city := func(changes edits) func(t *testing.T) string {
		return func(t *testing.T) string { return openJob(t, changes) }
	}
	for name, job := range map[string]func(t *testing.T) string{
		"fits": city(nil),
		"limit": city(edits{"job.toml": replacing(`flash = "12 KiB"`, `flash = "2 KiB"`,
			`ram = "1 KiB"`, `ram = "32 B"`)}),
		"tolerance": city(edits{"job.toml": replacing(`temp_min_next = { rmse_rise = "5 %" }`,
			`temp_min_next = { rmse_rise = "5 %", bias = 0.05 }`)}),
		"not_enough": city(edits{"job.toml": replacing(`temp_min_next = { rmse_rise = "5 %" }`,
			`temp_min_next = { rmse_rise = "5 %", max_error = 100 }`)}),
		"explains_little": city(edits{"features.csv": replacing(",16.5488243,8.39096749",
			",0,1")}),
		"largest": largestJob,
	} {
		t.Run(name, func(t *testing.T) {
			file := job(t)
			t.Chdir(filepath.Dir(file))
			code, screen, stderr := call("plan", filepath.Base(file))
			if code > exitBroken || stderr != "" {
				t.Fatalf("exit code %d: %s", code, stderr)
			}
			if lines := strings.Count(screen, "\n"); lines > screenLines {
				t.Errorf("%d lines, want %d at most", lines, screenLines)
			}
			checkColumns(t, screen, usualWidth)
			if _, again, _ := call("show", "handoff"); again != screen {
				t.Errorf("show prints\n%swhere plan printed\n%s", again, screen)
			}
			samePage(t, filepath.Join(testdata, "screens", name+".txt"), screen,
				"KERF_UPDATE_SCREENS")
			if name == "largest" {
				checkTables(t, filepath.Base(file))
			}
		})
	}
}

// checkTables reports tables of a planned job that are wider than the page. What takes long is
// printed on the narrower page alone.
func checkTables(t *testing.T, job string) {
	t.Helper()
	whole := []string{"--keep-features", "all", "--keep-units", "all"}
	for columns, commands := range map[int][][]string{
		usualWidth: {{"show", "handoff", "--all"}, {"explain", "handoff"},
			{"compare", "handoff", "handoff"}},
		60: {{"show", "handoff", "--all"}, {"explain", "handoff"},
			{"compare", "handoff", "handoff"}, {"units", job, "--all"}, {"rank", job},
			append([]string{"quantize", job}, whole...), append([]string{"cost", job}, whole...),
			append([]string{"prune", job}, whole...)},
	} {
		t.Setenv("COLUMNS", strconv.Itoa(columns))
		for _, args := range commands {
			code, stdout, stderr := call(args...)
			if code > exitBroken {
				t.Fatal(args, code, stderr)
			}
			checkColumns(t, stdout, columns)
		}
	}
}

// checkColumns reports lines that are wider than a page.
func checkColumns(t *testing.T, text string, columns int) {
	t.Helper()
	for line := range strings.Lines(text) {
		if width := utf8.RuneCountInString(strings.TrimRight(line, "\n")); width > columns {
			t.Errorf("%d columns, want %d at most: %s", width, columns, line)
		}
	}
}

// testdata is the folder of test data, wherever a test works.
var testdata = func() string {
	dir, err := filepath.Abs("testdata")
	if err != nil {
		panic(err)
	}
	return dir
}()

// openJob copies the open data set into a fresh folder and changes files.
func openJob(t *testing.T, changes edits) string {
	t.Helper()
	dir := t.TempDir()
	source := filepath.Join(filepath.Dir(filepath.Dir(filepath.Dir(testdata))), "testdata",
		"cityweather")
	if err := os.CopyFS(dir, os.DirFS(source)); err != nil {
		t.Fatal(err)
	}
	for name, change := range changes {
		rewritten(t, dir, name, change)
	}
	return filepath.Join(dir, "job.toml")
}

// replacing returns a change of texts that must be there, each followed by the new one.
func replacing(pairs ...string) func(content []byte) []byte {
	return func(content []byte) []byte {
		text := string(content)
		for i := 0; i < len(pairs); i += 2 {
			if !strings.Contains(text, pairs[i]) {
				panic(pairs[i] + " is missing")
			}
			text = strings.Replace(text, pairs[i], pairs[i+1], 1)
		}
		return []byte(text)
	}
}

// largestJob writes a job with 20 outputs, 5 targets, and names of 40 characters for features,
// outputs, scenarios and targets.
func largestJob(t *testing.T) string {
	t.Helper()
	const features, units, outputs = 5, 5, 20
	random := rand.New(rand.NewPCG(40, 16))
	values := func(n int, size float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = float64(float32(size * random.NormFloat64()))
		}
		return v
	}
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: features, Units: units,
		W: values(3*units*features, 0.4), U: values(3*units*units, 0.2), B: values(3*units, 0.3),
		D: values(3*units, 0.3)}
	head := &model.Dense{Inputs: units, Outputs: outputs, W: values(outputs*units, 1),
		B: values(outputs, 0.2)}
	var in []dataset.Feature
	for i := range features {
		in = append(in, dataset.Feature{Name: longName("feature", i), Std: 1})
	}
	var out []dataset.Output
	for i := range outputs {
		out = append(out, dataset.Output{Name: longName("output", i), Unit: "L/min", Std: 1})
	}
	p := dataset.NewFloat(&model.Network{Recurrent: []*model.Recurrent{layer},
		Dense: []*model.Dense{head}}, in, out)
	dir := t.TempDir()
	writeLargest(t, dir, random, p)
	return filepath.Join(dir, "job.toml")
}

// longName is a name of 40 characters with a number at its end.
func longName(front string, i int) string {
	return fmt.Sprintf("%s_%0*d", front, 40-len(front)-1, i)
}

// writeLargest writes the files of the job of a network.
func writeLargest(t *testing.T, dir string, random *rand.Rand, p *dataset.Float) {
	t.Helper()
	write := func(name string, text []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var weights bytes.Buffer
	if err := model.WriteSafetensors(&weights, model.ToTorch(p.Net), nil); err != nil {
		t.Fatal(err)
	}
	write("model.safetensors", weights.Bytes())
	features, outputs := "name,channel,kind,unit,mean,std\n", "name,unit,mean,std\n"
	job := "name = \"big\"\n[model]\nfile = \"model.safetensors\"\nconvention = \"torch\"\n" +
		"[recordings]\nselection = \"selection.csv\"\nsignoff = \"signoff.csv\"\n" +
		"[features]\nfile = \"features.csv\"\n[outputs]\nfile = \"outputs.csv\"\n[tolerance]\n"
	for _, f := range p.Features {
		features += f.Name + ",case_drain,level,bar,0,1\n"
	}
	for _, o := range p.Outputs {
		outputs += o.Name + ",L/min,0,1\n"
		job += o.Name + " = { rmse_rise = \"10 %\" }\n"
	}
	for i, profile := range []string{"cortex-m0plus", "cortex-m3", "cortex-m4f", "cortex-m33",
		"rv32imc"} {
		job += fmt.Sprintf("[[target]]\nname = %q\nprofile = %q\nclock = \"32 MHz\"\n"+
			"flash = \"24 KiB\"\nram = \"2 KiB\"\nstep_time = \"5 ms\"\n", longName("target", i),
			profile)
	}
	write("features.csv", []byte(features))
	write("outputs.csv", []byte(outputs))
	write("job.toml", []byte(job))
	for _, name := range []string{"selection", "signoff"} {
		write(name+".csv", largestRecording(random, p, name))
	}
}

// largestRecording has six sequences of 20 steps in each of two scenarios: the outputs of the
// network with noise.
func largestRecording(random *rand.Rand, p *dataset.Float, name string) []byte {
	var b bytes.Buffer
	b.WriteString("sequence,scenario,t")
	for _, f := range p.Features {
		b.WriteString("," + f.Name)
	}
	for _, o := range p.Outputs {
		b.WriteString("," + o.Name)
	}
	for i := range 12 {
		s := &dataset.Sequence{Steps: 20}
		for range s.Steps * len(p.Features) {
			s.X = append(s.X, float64(float32(random.NormFloat64())))
		}
		y := make([]float64, s.Steps*len(p.Outputs))
		p.Predict(s, y)
		for step := range s.Steps {
			fmt.Fprintf(&b, "\n%s%d,%s,%d", name, i, longName("scenario", i%2), step)
			for _, v := range s.X[step*len(p.Features) : (step+1)*len(p.Features)] {
				fmt.Fprintf(&b, ",%g", v)
			}
			for _, v := range y[step*len(p.Outputs) : (step+1)*len(p.Outputs)] {
				fmt.Fprintf(&b, ",%.6g", v+0.3*random.NormFloat64())
			}
		}
	}
	b.WriteByte('\n')
	return b.Bytes()
}
