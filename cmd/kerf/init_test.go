package main

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
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

// Where two readings of the network give the same outputs, plan refuses the draft until the user
// takes the # off one of them; then it goes on with either.
func TestInitLeavesAChoice(t *testing.T) {
	t.Chdir(t.TempDir())
	random := rand.New(rand.NewPCG(3, 3))
	p := randomFloat(random, false, []model.Kind{model.GRUResetAfter},
		[]model.Activation{model.ReLU, model.Identity})
	for i := range p.Net.Dense[0].B {
		p.Net.Dense[0].B[i] = 50 // no state makes the sum negative, so the ReLU does nothing
	}
	file, err := os.Create("model.npz")
	if err != nil {
		t.Fatal(err)
	}
	if err := model.WriteNPZ(file, model.ToTorch(p.Net)); err != nil {
		t.Fatal(err)
	}
	file.Close()
	for _, name := range []string{"selection.csv", "signoff.csv"} {
		if err := os.WriteFile(name, []byte(randomRecording(t, random, p, name)), 0o644); err !=
			nil {
			t.Fatal(err)
		}
	}
	code, stdout, stderr := call("init", "model.npz", "selection.csv", "--signoff", "signoff.csv",
		"--json")
	if code != exitDone || stderr != "" {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	var r initResult
	if err := json.Unmarshal([]byte(stdout), &r); err != nil {
		t.Fatal(err)
	}
	if len(r.Choices) != 2 || r.Next == nil || !slices.Equal(r.FillIn, []string{"model.file"}) {
		t.Fatalf("draft: %s", stdout)
	}
	job, err := os.ReadFile("job.toml")
	if err != nil {
		t.Fatal(err)
	}
	mark := strings.Count(string(job[:strings.Index(string(job), "\n[model]")]), "\n") + 2
	code, _, stderr = call("plan", "job.toml")
	if want := fmt.Sprintf("kerf: error: job.toml:%d:2: model.file is missing\n", mark); code !=
		exitInput || !strings.HasPrefix(stderr, want) ||
		!strings.Contains(stderr, "take the # off the lines of one reading") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
	for i, activation := range []string{"identity", "relu"} {
		front, block, _ := strings.Cut(string(job), fmt.Sprintf("# Reading %d ", i+1))
		block, back, _ := strings.Cut(block, "\n#]")
		chosen := front + "# Reading " + strings.ReplaceAll(block, "\n#", "\n") + "\n]" + back
		if !strings.Contains(block, fmt.Sprintf("activation = %q", activation)) {
			t.Errorf("reading %d is %s", i+1, block)
		}
		if err := os.WriteFile("job.toml", []byte(chosen), 0o644); err != nil {
			t.Fatal(err)
		}
		code, _, stderr := call("plan", "job.toml", "--out", fmt.Sprint("handoff", i))
		if code != exitDone && code != exitBroken {
			t.Errorf("%s: exit code %d: %s\n%s", activation, code, stderr, chosen)
		}
	}
}
