package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"kerf/model"
)

// A column of class names makes a classifier of the draft. The recording has nine of ten steps
// labelled as the network decides (randomRecording), so that is about the share that init must
// find, and the draft runs.
func TestInitOfAClassifier(t *testing.T) {
	dir := filepath.Dir(randomJob(t, 11, true, []model.Kind{model.GRUResetAfter},
		[]model.Activation{model.Identity}))
	t.Chdir(dir)
	if err := os.Remove("job.toml"); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove("features.csv"); err != nil {
		t.Fatal(err)
	}
	os.Remove("outputs.csv")
	code, stdout, stderr := call("init", "model.safetensors", "selection.csv", "--signoff",
		"signoff.csv", "--json")
	if code != exitDone || stderr != "" {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	var r initResult
	if err := json.Unmarshal([]byte(stdout), &r); err != nil {
		t.Fatal(err)
	}
	if r.Column != "state" || !slices.Equal(r.Outputs, classNames) || len(r.Fit) != 1 ||
		*r.Fit[0].Share < 0.8 || r.Doubtful {
		t.Errorf("draft: %s", stdout)
	}
	if _, err := os.Stat("outputs.csv"); err == nil {
		t.Error("a classifier has no outputs.csv")
	}
	if code, _, stderr := call("plan", "job.toml"); code == exitInput || code == exitOurBug {
		t.Errorf("plan: exit code %d: %s", code, stderr)
	}
}
