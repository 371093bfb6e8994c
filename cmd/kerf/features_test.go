package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What kerf features writes is a recording of the same job, whose computed features are what its
// samples give; a file that is there stays as it is, and nothing else is written then.
func TestComputedRecordingsAreWritten(t *testing.T) {
	t.Chdir(filepath.Dir(cityJob(t, func(job string) string { return job })))
	addSamples(t)
	replaceIn(t, "features.csv", ",level\n", ",maximum\n") // of windows with one sample the same
	lines := strings.SplitAfter(readText(t, "signoff.csv"), "\n")
	wrong := strings.Split(lines[1], ",")
	wrong[3] = "-40" // temp_max, which its sample has right
	lines[1] = strings.Join(wrong, ",")
	writeText(t, "signoff.csv", strings.Join(lines, ""))
	if code, _, stderr := call("features", "job.toml", "--out", "made/of"); code != exitBroken {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	for _, name := range []string{"selection.csv", "signoff.csv"} {
		if err := os.Rename(filepath.Join("made", "of", name), name); err != nil {
			t.Fatal(err)
		}
	}
	code, stdout, stderr := call("features", "job.toml", "--out", "again")
	if code != exitDone {
		t.Errorf("of what was written: exit code %d: %s%s", code, stdout, stderr)
	}
	for _, name := range []string{"selection.csv", "signoff.csv"} {
		if readText(t, filepath.Join("again", name)) != readText(t, name) {
			t.Errorf("%s comes out otherwise the second time", name)
		}
	}
	if err := os.Remove(filepath.Join("again", "selection.csv")); err != nil {
		t.Fatal(err)
	}
	code, _, stderr = call("features", "job.toml", "--out", "again")
	if code != exitInput || !strings.Contains(stderr, "signoff.csv is there already") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
	if _, err := os.Stat(filepath.Join("again", "selection.csv")); err == nil {
		t.Error("half of the recordings were written")
	}
	if code, _, _ = call("features", "job.toml", "--out", "-"); code != exitInput {
		t.Errorf("to stdout: exit code %d", code)
	}
}

// Steps below the floor are said to be below it, with where the floor comes from.
func TestFeaturesBelowTheFloorAreSaid(t *testing.T) {
	t.Chdir(filepath.Dir(cityJob(t, func(job string) string { return job })))
	addSamples(t)
	replaceIn(t, "features.csv", ",level\n", ",relative\n")
	replaceIn(t, "job.toml", "bits = 12 }", "bits = 1 }\nbaseline = 20")
	code, stdout, stderr := call("features", "job.toml")
	if code != exitBroken || !strings.Contains(strings.Join(strings.Fields(stdout), " "),
		"steps lie below the floor of temperature, 100 degC (one step of its converter, since the "+
			"job gives none), so nothing is compared") {
		t.Errorf("exit code %d: %s%s", code, stdout, stderr)
	}
}

// replaceIn replaces a text of a file, which must be there.
func replaceIn(t *testing.T, name, from, to string) {
	t.Helper()
	text := readText(t, name)
	if !strings.Contains(text, from) {
		t.Fatalf("%s does not hold %q", name, from)
	}
	writeText(t, name, strings.ReplaceAll(text, from, to))
}

func readText(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func writeText(t *testing.T, name, text string) {
	t.Helper()
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}
