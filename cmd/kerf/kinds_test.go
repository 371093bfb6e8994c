package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/exporter/report"
	"kerf/model"
)

// randomJob writes a job for a random network into a fresh folder: features x0,
// x1, x2 and reference outputs that are the network's own with a little noise.
func randomJob(t *testing.T, seed uint64, classes bool, kinds []model.Kind,
	activations []model.Activation) string {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, 4))
	p := randomFloat(random, classes, kinds, activations)
	dir := t.TempDir()
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	spec := model.ToTorchSpec(p.Net)
	var layers strings.Builder
	for _, l := range spec.Layers {
		fmt.Fprintf(&layers, "[[model.layer]]\nname = %q\n", l.Name)
		if l.Cell != "" {
			fmt.Fprintf(&layers, "cell = %q\n", l.Cell)
		}
		if l.Activation != "" {
			fmt.Fprintf(&layers, "activation = %q\n", l.Activation)
		}
	}
	file, err := os.Create(filepath.Join(dir, "model.safetensors"))
	if err != nil {
		t.Fatal(err)
	}
	if err := model.WriteSafetensors(file, model.ToTorch(p.Net), nil); err != nil {
		t.Fatal(err)
	}
	file.Close()
	write("features.csv",
		"name,channel,kind,unit,mean,std\nx0,a,level,bar,0,1\nx1,a,slope,bar,0,1\nx2,b,level,bar,0,1\n")
	write("outputs.csv", "name,unit,mean,std\no0,L/min,0,1\no1,%,0,1\n")
	for _, name := range []string{"selection.csv", "signoff.csv"} {
		write(name, randomRecording(t, random, p, name))
	}
	outputs, tolerance := "file = \"outputs.csv\"",
		"o0 = { rmse_rise = \"20 %\" }\no1 = { mae_rise = \"20 %\", max_error = 10 }"
	if classes {
		outputs = fmt.Sprintf("classes = [%q, %q]\ncolumn = \"state\"", classNames[0],
			classNames[1])
		tolerance = "state = { accuracy_drop = \"10 %\", disagreement = \"15 %\" }"
	}
	write("job.toml", fmt.Sprintf(`name = "random"
[model]
file = "model.safetensors"
convention = "torch"
%s[recordings]
selection = "selection.csv"
signoff = "signoff.csv"
[features]
file = "features.csv"
[outputs]
%s
[tolerance]
%s
[[target]]
profile = "cortex-m0plus"
clock = "32 MHz"
flash = "24 KiB"
ram = "2 KiB"
step_time = "20 ms"
[[target]]
profile = "avr8"
clock = "16 MHz"
`, layers.String(), outputs, tolerance))
	return filepath.Join(dir, "job.toml")
}

func randomFloat(random *rand.Rand, classes bool, kinds []model.Kind,
	activations []model.Activation) *dataset.Float {
	values := func(n int, size float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = float64(float32(size * random.NormFloat64()))
		}
		return v
	}
	net := &model.Network{}
	in := 3
	for _, k := range kinds {
		const units = 6
		rows := k.Gates() * units
		net.Recurrent = append(net.Recurrent, &model.Recurrent{Kind: k, Inputs: in, Units: units,
			W: values(rows*in, 0.8), U: values(rows*units, 0.2), B: values(rows, 0.3),
			D: values(rows, 0.3)})
		in = units
	}
	for i, a := range activations {
		out := 4
		if i == len(activations)-1 {
			out = 2
		}
		net.Dense = append(net.Dense, &model.Dense{Inputs: in, Outputs: out, Activation: a,
			W: values(out*in, 1), B: values(out, 0.2)})
		in = out
	}
	p := dataset.NewFloat(net, []dataset.Feature{{Name: "x0", Std: 1}, {Name: "x1", Std: 1},
		{Name: "x2", Std: 1}}, []dataset.Output{{Name: "o0", Std: 1}, {Name: "o1", Std: 1}})
	p.Classes = classes
	return p
}

// classNames look like lists: they are two all the same.
var classNames = []string{`calm, "still"`, "worn=1; out/of|order"}

// randomRecording is eight sequences of 60 steps.
func randomRecording(t *testing.T, random *rand.Rand, p *dataset.Float, name string) string {
	t.Helper()
	var b strings.Builder
	w := csv.NewWriter(&b)
	head := []string{"sequence", "scenario", "t", "x0", "x1", "x2", "o0", "o1"}
	if p.Classes {
		head = []string{"sequence", "scenario", "t", "x0", "x1", "x2", "state"}
	}
	w.Write(head)
	for i := range 8 {
		s := &dataset.Sequence{Steps: 60}
		for range 180 {
			s.X = append(s.X, float64(float32(random.NormFloat64())))
		}
		y := make([]float64, 120)
		p.Predict(s, y)
		for step := range s.Steps {
			row := []string{name + strconv.Itoa(i), "any", strconv.Itoa(step)}
			for _, v := range s.X[3*step : 3*step+3] {
				row = append(row, strconv.FormatFloat(v, 'g', -1, 64))
			}
			if p.Classes {
				class := dataset.Class(y[2*step : 2*step+2])
				if random.IntN(10) == 0 {
					class = 1 - class
				}
				row = append(row, classNames[class])
			} else {
				for _, v := range y[2*step : 2*step+2] {
					row = append(row, strconv.FormatFloat(v+0.3*random.NormFloat64(), 'g', 6, 64))
				}
			}
			w.Write(row)
		}
	}
	w.Flush()
	return b.String()
}

// planJob plans a job and returns what signoff.json says; the handoff must
// compile and pass its self-test.
func planJob(t *testing.T, job string) (s report.Signoff, handoff string) {
	t.Helper()
	handoff = filepath.Join(filepath.Dir(job), "handoff")
	code, stdout, stderr := call("plan", job, "--json", "--out", handoff)
	if code != exitDone && code != exitBroken {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	if err := json.Unmarshal([]byte(stdout), &s); err != nil {
		t.Fatal(err)
	}
	checkPictures(t, s)
	cmd := exec.Command("sh", "-c", "gcc -std=c99 -Wall -Wextra -Wconversion -Wpedantic -Werror "+
		"random.c random_selftest.c -o ../selftest && ../selftest")
	cmd.Dir = handoff
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return s, handoff
}

// Every network that loads goes the whole way: cut, fixed point, C, cost.
func TestEveryKindGoesTheWholeWay(t *testing.T) {
	identity := []model.Activation{model.Identity}
	for i, n := range []struct {
		kinds       []model.Kind
		activations []model.Activation
	}{
		{[]model.Kind{model.GRUResetAfter}, identity},
		{[]model.Kind{model.GRUResetBefore}, identity},
		{[]model.Kind{model.LSTM}, identity},
		{[]model.Kind{model.ElmanTanh}, identity},
		{[]model.Kind{model.ElmanReLU}, identity},
		{[]model.Kind{model.LSTM, model.GRUResetAfter},
			[]model.Activation{model.ReLU, model.Identity}},
		{[]model.Kind{model.GRUResetBefore, model.ElmanTanh, model.LSTM},
			[]model.Activation{model.Logistic, model.Tanh, model.ReLU}},
	} {
		t.Run(fmt.Sprint(n.kinds, n.activations), func(t *testing.T) {
			t.Parallel()
			s, _ := planJob(t, randomJob(t, uint64(i), false, n.kinds, n.activations))
			if len(s.Kept.Units) != len(n.kinds) || len(s.Loss) == 0 || len(s.Cost) == 0 ||
				len(s.Formats) != 2*len(n.kinds)+len(n.activations) {
				t.Errorf("%d lists of units, %d rows of loss, %d of cost, %d of formats",
					len(s.Kept.Units), len(s.Loss), len(s.Cost), len(s.Formats))
			}
			for _, l := range s.Loss {
				if l.Verdict == "fail" {
					t.Errorf("%s %s: float %g, fixed %g", l.Output, l.Metric, l.Float, l.Fixed)
				}
			}
		})
	}
}

func TestClassifier(t *testing.T) {
	job := randomJob(t, 20, true, []model.Kind{model.GRUResetAfter},
		[]model.Activation{model.Identity})
	s, handoff := planJob(t, job)
	metrics := map[dataset.Metric]report.LossRow{}
	for _, l := range s.Loss {
		if l.Scenario == "all" {
			metrics[l.Metric] = l
		}
	}
	// References are the network's own classes with a tenth flipped.
	if l := metrics["accuracy"]; l.Output != "state" || l.Float < 0.85 || l.Float > 0.95 ||
		l.Verdict == "" || l.ToleranceOn != "rise" {
		t.Errorf("accuracy %+v", l)
	}
	if l := metrics["agreement"]; l.Float != 1 || l.Fixed < 0.85 || l.Verdict == "" {
		t.Errorf("agreement %+v", l)
	}
	if _, ok := metrics["balanced_accuracy"]; !ok {
		t.Error("no balanced accuracy")
	}
	// With a feature at fault less steps than without have the right class, here with the worst of
	// all faults; of the second halves about as many as of all.
	worst := 0.0
	for _, r := range s.Faults.Rows {
		if r.Output != "state" || r.Metric != "accuracy" || r.Factor != nil || r.Drop == nil ||
			*r.Drop != r.Without-r.With || r.Without < 0.8 || r.Without > 0.98 {
			t.Fatalf("fault %+v", r)
		}
		worst = max(worst, *r.Drop)
	}
	if len(s.Faults.Rows) != 4*len(s.Kept.Features) || worst < 0.05 {
		t.Errorf("%d rows of faults, the worst loses %g", len(s.Faults.Rows), worst)
	}
	if got := s.Tracks[0].Outputs[0].Classes; !slices.Equal(got, classNames) {
		t.Errorf("classes %q, want %q", got, classNames)
	}
	_, ranking, _ := call("rank", job, "--csv")
	if has := readNames(t, "rank", csvFormat, ranking); !has(classNames[0]) || !has(classNames[1]) {
		t.Errorf("the ranking lacks a class:\n%s", ranking)
	}
	header, err := os.ReadFile(filepath.Join(handoff, "random.h"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(header),
		"uint16_t random_class(const int32_t y[RANDOM_N_OUTPUTS]);") {
		t.Error("random.h declares no random_class")
	}
	bits := map[string]bool{}
	for line := range strings.Lines(string(header)) {
		if strings.HasPrefix(line, "#define RANDOM_Y_") &&
			strings.Contains(line, "_FRACTION_BITS") {
			bits[line[strings.LastIndex(line, " "):]] = true
		}
	}
	if len(bits) != 1 {
		t.Errorf("scores have different fraction bits: %v", bits)
	}
}

// A network that prune writes and a job that says what prune prints give the
// same float figures as the cut network. A reset-before GRU is the case that
// would otherwise be read as another network without a word.
func TestWrittenNetworkIsReadAsItIs(t *testing.T) {
	for i, kinds := range [][]model.Kind{{model.GRUResetAfter}, {model.GRUResetBefore},
		{model.ElmanReLU}} {
		t.Run(fmt.Sprint(kinds), func(t *testing.T) {
			job := randomJob(t, uint64(40+i), false, kinds, []model.Activation{model.Identity})
			written := filepath.Join(filepath.Dir(job), "cut.safetensors")
			code, stdout, stderr := call("prune", job, "--keep-features", "all", "--keep-units",
				"all",
				"--out", written, "--format", "json")
			if code != exitDone {
				t.Fatalf("exit code %d: %s", code, stderr)
			}
			var pruned pruneResult
			if err := json.Unmarshal([]byte(stdout), &pruned); err != nil {
				t.Fatal(err)
			}
			lines := ""
			for _, line := range pruned.JobLines {
				lines += line + "\n"
			}
			if (lines == "") != (kinds[0] == model.GRUResetAfter) {
				t.Errorf("prune prints the lines %q", lines)
			}
			text, err := os.ReadFile(job)
			if err != nil {
				t.Fatal(err)
			}
			before, rest, _ := strings.Cut(string(text), "[[model.layer]]")
			_, after, _ := strings.Cut(rest, "[recordings]")
			again := strings.Replace(before, "model.safetensors", "cut.safetensors", 1) + lines +
				"[recordings]" + after
			second := filepath.Join(filepath.Dir(job), "again.toml")
			if err := os.WriteFile(second, []byte(again), 0o644); err != nil {
				t.Fatal(err)
			}
			want, _ := planJob(t, job)
			got, _ := planJob(t, second)
			if len(want.Loss) == 0 || len(got.Loss) != len(want.Loss) {
				t.Fatalf("%d rows, want %d", len(got.Loss), len(want.Loss))
			}
			for r := range want.Loss {
				if got.Loss[r].Float != want.Loss[r].Float {
					t.Errorf("%s %s: float %g, want %g", want.Loss[r].Output, want.Loss[r].Metric,
						got.Loss[r].Float, want.Loss[r].Float)
				}
			}
		})
	}
}
