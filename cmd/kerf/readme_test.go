package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The README shows real output: every command of its console blocks runs here,
// in order and in one folder, and must print what the README shows below it.
// KERF_UPDATE_README=1 writes the README anew instead.
func TestReadmeShowsRealOutput(t *testing.T) {
	path := filepath.Join("..", "..", "README.md")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	bin := t.TempDir()
	if out, err := exec.Command("go", "build", "-o", filepath.Join(bin, "kerf"),
		".").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	readme := &readme{t: t, dir: t.TempDir(), path: bin + string(os.PathListSeparator) +
		os.Getenv("PATH")}
	fresh := readme.rerun(string(text))
	if os.Getenv("KERF_UPDATE_README") != "" {
		if err := os.WriteFile(path, []byte(fresh), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if readme.commands < 6 {
		t.Errorf("only %d commands found in README.md", readme.commands)
	}
	if fresh != string(text) {
		got := filepath.Join("..", "..", "README.md.got")
		os.WriteFile(got, []byte(fresh), 0o644)
		t.Errorf("README.md does not show the real output; compare with %s", got)
	}
}

type readme struct {
	t         *testing.T
	dir, path string
	commands  int
}

// rerun replaces the output in every console block by that of its commands.
func (r *readme) rerun(text string) string {
	var b strings.Builder
	inside := false
	for line := range strings.Lines(text) {
		switch {
		case line == "```console\n":
			inside = true
			b.WriteString(line)
		case inside && line == "```\n":
			inside = false
			b.WriteString(line)
		case inside && strings.HasPrefix(line, "$ "):
			b.WriteString(line + r.run(strings.TrimSpace(line[2:])))
		case !inside:
			b.WriteString(line)
		}
	}
	return b.String()
}

func (r *readme) run(command string) string {
	r.commands++
	cmd := exec.Command("sh", "-c", strings.ReplaceAll(command, "go run ./cmd/kerf", "kerf"))
	cmd.Dir = r.dir
	cmd.Env = append(os.Environ(), "PATH="+r.path)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		r.t.Errorf("README.md: %s: %v", command, err)
	}
	return string(out)
}
