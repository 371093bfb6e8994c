package draft

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"

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
