package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A mistake on the command line or in a job is refused with its place, where there is one, and with
// what to do.
func TestMistakesHaveAPlaceAndAHint(t *testing.T) {
	misnamed := cityJob(t, func(job string) string {
		return strings.Replace(job, `name = "cityweather"`, `name = "City Weather"`, 1)
	})
	t.Chdir(t.TempDir())
	recording := filepath.Join(filepath.Dir(misnamed), "selection.csv")
	for _, c := range []struct {
		args []string
		want string // how the message begins, behind kerf: error:
		hint string // a part of it
	}{
		{[]string{"plan", misnamed}, misnamed + ":1:8: the job's name", "begin with a letter"},
		{[]string{"init", "nope.safetensors", recording}, "nope.safetensors: the file cannot be " +
			"read: no such file", ".onnx, .safetensors or .npz"},
		{[]string{"nope"}, `unknown command "nope" for "kerf"`, "kerf --help lists the commands"},
		{[]string{"targets", "nope"}, `unknown command "nope" for "kerf targets"`,
			"kerf targets --help lists the commands"},
		{[]string{"version", "x"}, "kerf version takes no arguments, got 1", "kerf version --help"},
		{[]string{"demo", "--out", "-"}, "--out: a handoff is a folder", "--json"},
	} {
		code, _, stderr := call(c.args...)
		message, hint, hinted := strings.Cut(stderr, "kerf: hint: ")
		if code != exitInput || !strings.HasPrefix(message, "kerf: error: "+c.want) || !hinted ||
			!strings.Contains(hint, c.hint) {
			t.Errorf("kerf %s: exit code %d: %s", strings.Join(c.args, " "), code, stderr)
		}
	}
	if entries, err := os.ReadDir("."); err != nil || len(entries) > 0 {
		t.Errorf("%d files were written, error %v", len(entries), err)
	}
}

// A file of the demo that is a folder, or longer than kerf's, is another one.
func TestDemoLeavesOtherFilesAlone(t *testing.T) {
	for name, put := range map[string]func(path string) error{
		"a folder": func(path string) error { return os.Mkdir(path, 0o755) },
		"a long file": func(path string) error {
			return os.WriteFile(path, make([]byte, 1<<16), 0o644)
		},
	} {
		dir := t.TempDir()
		if err := put(filepath.Join(dir, "job.toml")); err != nil {
			t.Fatal(err)
		}
		if code, _, stderr := call("demo", "--out", dir); code != exitInput ||
			!strings.Contains(stderr, "job.toml is there already and differs") {
			t.Errorf("%s: exit code %d: %s", name, code, stderr)
		}
	}
}
