package budget

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/dataset"
)

// The names of the demo's features tell channel and kind as testdata/demo/features.csv has them, written by hand.
func TestChannelAndKindOfTheDemo(t *testing.T) {
	file, err := os.Open(filepath.Join("..", "testdata", "demo", "features.csv"))
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
		if f.Name == "oil_temperature" { // the only one of its kind: what its last word means cannot be seen
			continue
		}
		if channel != f.Channel || kind != f.Kind {
			t.Errorf("%s: channel %q, kind %q; want %q, %q", f.Name, channel, kind, f.Channel, f.Kind)
		}
	}
}

// Text from files stays inside its string or comment, whatever it holds: the draft is read again as it was meant.
func TestDraftTextIsSafe(t *testing.T) {
	hostile := "a\"b\n[target]\nprofile = \"x\"\x01\\"
	d := &Draft{
		Name: "leakair", Model: hostile, Convention: "torch", Selection: hostile, Signoff: []string{hostile, "b.csv"},
		Outputs: []dataset.Output{{Name: hostile, Std: 1}}, Ignored: []string{hostile}, Fit: []DraftFit{{hostile, 0.3}}, Steps: 10,
	}
	job, err := parseJob(d.TOML(), "job.toml")
	if err != nil {
		t.Fatalf("%v\n%s", err, d.TOML())
	}
	if job.Model.File != hostile || job.Recordings.Signoff[0] != hostile || job.Tolerances[hostile].RMSERise == nil || len(job.Targets) != 1 {
		t.Errorf("read again: %+v", job)
	}
	if !d.IsDoubtful() || !strings.Contains(string(d.TOML()), "that is little") {
		t.Error("a guess that explains 30 % is not doubted")
	}
}

// As many whole sequences as fit into the steps that are tried, one at least.
func TestFirstSteps(t *testing.T) {
	for _, c := range []struct {
		steps []int
		want  int
	}{
		{[]int{triedSteps + 1, 1}, 1},
		{[]int{triedSteps - 1, 1, 1}, 2},
		{[]int{triedSteps - 1, 2, 1}, 1},
		{[]int{1, 1}, 2},
	} {
		rec := &dataset.Recordings{}
		for _, n := range c.steps {
			rec.Sequences = append(rec.Sequences, &dataset.Sequence{Steps: n})
		}
		if got := len(firstSteps(rec).Sequences); got != c.want {
			t.Errorf("of sequences of %v steps %d are tried, want %d", c.steps, got, c.want)
		}
	}
}
