//go:build notebook

package main

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"kerf/exporter/report"
)

// blocks are the fenced blocks of a page of docs in one language.
func blocks(t *testing.T, page, language string) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "docs", page))
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, part := range strings.Split(string(text), "```"+language+"\n")[1:] {
		block, _, _ := strings.Cut(part, "```\n")
		all = append(all, block)
	}
	if len(all) == 0 {
		t.Fatalf("%s has no block of %s", page, language)
	}
	return all
}

// The lines that docs show for a notebook run as they stand there, between a small
// notebook (before) and its own account of the errors (behind). A plan runs on the files
// they leave, and its float network makes the errors that the notebook has computed.
func TestNotebook(t *testing.T) {
	for _, c := range []struct{ page, notebook, needs, packages string }{
		{"from-torch.md", "torch.py", "import torch", "python3-torch python3-numpy"},
		{"from-onnx.md", "torch.py", "import torch", "python3-torch python3-numpy"},
		{"from-keras.md", "keras.py", "import numpy", "python3-numpy"},
	} {
		t.Run(c.page, func(t *testing.T) {
			const python = "/usr/bin/python3" // Debian's, which has Debian's packages
			if out, err := exec.Command(python, "-c", c.needs).CombinedOutput(); err != nil {
				t.Fatalf("docs/%s is NOT tested: %v %s\ninstall the Debian packages %s", c.page,
					err, out, c.packages)
			}
			read := func(name string) string {
				text, err := os.ReadFile(filepath.Join("testdata", "notebook", name))
				if err != nil {
					t.Fatal(err)
				}
				return string(text)
			}
			program := strings.Join([]string{read(c.notebook),
				strings.Join(blocks(t, c.page, "python"), "\n"),
				strings.Join(blocks(t, "from-notebook.md", "python"), "\n"), read("judge.py")},
				"\n")
			dir := t.TempDir()
			cmd := exec.Command(python, "-")
			cmd.Dir, cmd.Stdin = dir, strings.NewReader(program)
			if out, err := cmd.CombinedOutput(); err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			job := blocks(t, "from-notebook.md", "toml")[0]
			before, rest, found := strings.Cut(job, "[model]\n")
			_, after, ends := strings.Cut(rest, "\n\n")
			if !found || !ends {
				t.Fatal("the job of from-notebook.md has no part [model]")
			}
			if err := os.WriteFile(filepath.Join(dir, "job.toml"),
				[]byte(before+blocks(t, c.page, "toml")[0]+"\n"+after), 0o644); err != nil {
				t.Fatal(err)
			}
			code, stdout, stderr := call("plan", filepath.Join(dir, "job.toml"), "--json")
			if code != exitDone && code != exitBroken {
				t.Fatalf("exit code %d: %s", code, stderr)
			}
			var s report.Signoff
			if err := json.Unmarshal([]byte(stdout), &s); err != nil {
				t.Fatal(err)
			}
			text, err := os.ReadFile(filepath.Join(dir, "errors.json"))
			if err != nil {
				t.Fatal(err)
			}
			want := map[string]float64{}
			if err := json.Unmarshal(text, &want); err != nil {
				t.Fatal(err)
			}
			compared := 0
			for _, l := range s.Loss {
				if l.Scenario == "all" && l.Region == "" && l.Metric == "rmse" {
					compared++
					// torch computes in float32.
					if math.Abs(l.Float-want[l.Output]) > 1e-4*want[l.Output] {
						t.Errorf("%s: kerf finds an error of %g, the notebook %g", l.Output,
							l.Float, want[l.Output])
					}
				}
			}
			if compared != 2 || len(want) != 2 {
				t.Errorf("%d errors compared, %d in the notebook, want 2", compared, len(want))
			}
			if s.Scores == nil || len(s.Scores.Scenarios) != 2 {
				t.Error("the attributions give no scores by scenario")
			}
		})
	}
}
