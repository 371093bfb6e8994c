package draft

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"
	"kerf/model"

	"kerf/testdata/randomnet"
)

// The names of the demo's features tell channel and kind as testdata/demo/features.csv has them,
// written by hand.
func TestChannelAndKindOfTheDemo(t *testing.T) {
	file, err := os.Open(filepath.Join("..", "..", "testdata", "demo", "features.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	features, err := dataset.ReadFeatures(file, "features.csv")
	if err != nil {
		t.Fatal(err)
	}
	names := dataset.FeatureNames(features)
	for _, f := range features {
		channel, kind := channelAndKind(f.Name, names)
		// the only one of its kind: what its last word means cannot be seen
		if f.Name == "oil_temperature" {
			continue
		}
		if channel != f.Channel || kind != f.Kind {
			t.Errorf("%s: channel %q, kind %q; want %q, %q", f.Name, channel, kind, f.Channel,
				f.Kind)
		}
	}
}

// Text from files stays inside its string or comment, whatever it holds: the draft is read again as
// it was meant.
func TestDraftTextIsSafe(t *testing.T) {
	hostile := "a\"b\n[target]\nprofile = \"x\"\x01\\"
	d := &Draft{
		Name: "leakair", Model: hostile, Convention: "torch", Selection: hostile,
		Signoff: []string{hostile, "b.csv"},
		Outputs: []dataset.Output{{Name: hostile, Std: 1}}, Ignored: []string{hostile},
		Choices: []Choice{{Fit: []Fit{{hostile, 0.3}}}}, Steps: 10,
	}
	job, err := readBack(t, d.TOML())
	if err != nil {
		t.Fatalf("%v\n%s", err, d.TOML())
	}
	if job.Model.File != hostile || job.Recordings.Signoff[0] != hostile ||
		job.Tolerances[hostile].RMSERise == nil || len(job.Targets) != 1 {
		t.Errorf("read again: %+v", job)
	}
	if !d.IsDoubtful() || !strings.Contains(string(d.TOML()), "that is little") {
		t.Error("a guess that explains 30 % is not doubted")
	}
}

// A draft finds what the model file does not say: cells, order of the dense layers and their
// activations, by the outputs that the network gave with them. The job that it writes reads the
// file as it was meant.
func TestDraftTriesReadings(t *testing.T) {
	for _, c := range []struct {
		name       string
		convention string
		kind       model.Kind
		dense      []model.Activation
	}{
		{"relu between two dense layers", "torch", model.GRUResetAfter,
			[]model.Activation{model.ReLU, model.Identity}},
		{"elman with relu", "torch", model.ElmanReLU, []model.Activation{model.Identity}},
		{"two hidden dense layers of one size", "torch", model.LSTM,
			[]model.Activation{model.Tanh, model.ReLU, model.Identity}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			net := drawnNetwork(c.kind, c.dense)
			var weights bytes.Buffer
			if err := model.WriteSafetensors(&weights, model.ToTorch(net), nil); err != nil {
				t.Fatal(err)
			}
			write(t, filepath.Join(dir, "model.safetensors"), weights.String())
			write(t, filepath.Join(dir, "selection.csv"), playedCSV(net))
			d, err := New(t.Context(), filepath.Join(dir, "model.safetensors"),
				filepath.Join(dir, "selection.csv"), nil)
			if err != nil {
				t.Fatal(err)
			}
			d.Name, d.Model, d.Selection, d.Signoff = "drawn", "model.safetensors", "selection.csv",
				[]string{"selection.csv"}
			write(t, filepath.Join(dir, "job.toml"), string(d.TOML()))
			write(t, filepath.Join(dir, "features.csv"), string(d.FeaturesCSV()))
			write(t, filepath.Join(dir, "outputs.csv"), string(d.OutputsCSV()))
			in, err := budget.Load(filepath.Join(dir, "job.toml"))
			if err != nil {
				t.Fatalf("%v\n%s", err, d.TOML())
			}
			if got, want := in.Float.Net.String(), net.String(); got != want || d.Readings < 2 {
				t.Errorf("%d readings tried; read as %s, drawn was %s\n%s", d.Readings, got, want,
					d.TOML())
			}
			for _, f := range d.Fit() {
				if f.Share < 0.999 {
					t.Errorf("explains %g of %s, want all", f.Share, f.Output)
				}
			}
		})
	}
}

// drawnNetwork has three inputs, five units and dense layers of five, but for the last, which gives
// two outputs.
func drawnNetwork(kind model.Kind, dense []model.Activation) *model.Network {
	random := rand.New(rand.NewPCG(8, uint64(kind)))
	drawn := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = float64(float32(0.5 * random.NormFloat64()))
		}
		return v
	}
	rows := kind.Gates() * 5
	net := &model.Network{Recurrent: []*model.Recurrent{{Kind: kind, Inputs: 3, Units: 5,
		W: drawn(3 * rows), U: drawn(5 * rows), B: drawn(rows), D: drawn(rows)}}}
	for i, a := range dense {
		outputs := 5
		if i == len(dense)-1 {
			outputs = 2
		}
		net.Dense = append(net.Dense,
			&model.Dense{Inputs: 5, Outputs: outputs, W: drawn(5 * outputs), B: drawn(outputs),
				Activation: a})
	}
	if kind == model.ElmanReLU {
		for i := range net.Recurrent[0].U {
			net.Recurrent[0].U[i] *= 0.3 // so that the state does not grow without end
		}
	}
	return net
}

// playedCSV is a recording of random features and what the network gives for them.
func playedCSV(net *model.Network) string {
	random := rand.New(rand.NewPCG(9, 9))
	var b strings.Builder
	b.WriteString("sequence,scenario,t,a,b,c,y,z\n")
	for sequence := range 6 {
		run := net.NewRun()
		x, y := make([]float64, 3), make([]float64, 2)
		for step := range 80 {
			for i := range x {
				x[i] = 0.7*x[i] + random.NormFloat64()
			}
			run.Step(x, y)
			fmt.Fprintf(&b, "%d,only,%d,%.9g,%.9g,%.9g,%.9g,%.9g\n", sequence, step, x[0], x[1],
				x[2], y[0], y[1])
		}
	}
	return b.String()
}

func write(t *testing.T, path, content string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
}

// Of a column that stands still nothing is explained, however near the network comes to it.
func TestNothingIsExplainedOfAConstant(t *testing.T) {
	random := randomnet.Seeded(17)
	float := randomnet.Network(random, 2, randomnet.OneGRU, 2)
	recordings := randomnet.Recordings(random, float)
	for _, s := range recordings.Sequences {
		float.Predict(s, s.Y)
		for at := 0; at < len(s.Y); at += 2 {
			s.Y[at] = 0
		}
	}
	fit := fitOf(dataset.Measure(float, recordings, nil), float.Outputs, recordings, "")
	if fit[0].Share != 0 || fit[1].Share < 0.999 {
		t.Errorf("of a constant %g, of the other output %g is explained", fit[0].Share,
			fit[1].Share)
	}
}

// readBack reads a drafted job.
func readBack(t *testing.T, text []byte) (*budget.Job, error) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "job.toml")
	if err := os.WriteFile(file, text, 0o644); err != nil {
		t.Fatal(err)
	}
	return budget.ReadJob(file)
}
