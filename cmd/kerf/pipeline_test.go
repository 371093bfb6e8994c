package main

import (
	"encoding/xml"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The script of docs/pipeline.md, as it stands there: a handoff that is current passes, one that
// has drifted does not, whichever side changed.
func TestPipelineScript(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "docs", "pipeline.md"))
	if err != nil {
		t.Fatal(err)
	}
	script := regexp.MustCompile("(?s)```sh\n(#!/bin/sh\n.*?)```").FindSubmatch(text)
	if script == nil {
		t.Fatal("docs/pipeline.md has no script")
	}
	bin := t.TempDir()
	if out, err := exec.Command("go", "build", "-o", filepath.Join(bin, "kerf"),
		".").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	job := cityJob(t, func(job string) string { return job })
	dir := filepath.Dir(job)
	if code, _, stderr := call("plan", job); code != exitDone {
		t.Fatalf("plan: exit code %d: %s", code, stderr)
	}
	check := filepath.Join(bin, "check-handoff.sh")
	if err := os.WriteFile(check, script[1], 0o755); err != nil {
		t.Fatal(err)
	}
	temporary := t.TempDir()
	run := func() (code int, stdout, stderr string) {
		cmd := exec.Command(check)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "PATH="+bin+string(os.PathListSeparator)+os.Getenv("PATH"),
			"TMPDIR="+temporary)
		var out, errOut strings.Builder
		cmd.Stdout, cmd.Stderr = &out, &errOut
		err := cmd.Run()
		var exit *exec.ExitError
		if err != nil && !errors.As(err, &exit) {
			t.Fatal(err)
		}
		if left, _ := os.ReadDir(temporary); len(left) > 0 {
			t.Errorf("the script leaves %d files behind", len(left))
		}
		return cmd.ProcessState.ExitCode(), out.String(), errOut.String()
	}
	edit := func(name, old, fresh string) {
		t.Helper()
		path := filepath.Join(dir, name)
		text, err := os.ReadFile(path)
		if err != nil || !strings.Contains(string(text), old) {
			t.Fatalf("%s: %v", name, err)
		}
		if err := os.WriteFile(path, []byte(strings.Replace(string(text), old, fresh, 1)),
			0o644); err != nil {
			t.Fatal(err)
		}
	}
	if code, stdout, stderr := run(); code != 0 || stdout != "" || stderr != "" {
		t.Errorf("current: exit code %d, stdout %q, stderr %q", code, stdout, stderr)
	}
	var verdicts struct {
		Tests    int `xml:"tests,attr"`
		Failures int `xml:"failures,attr"`
	}
	report, err := os.ReadFile(filepath.Join(dir, "verdicts.xml"))
	if err != nil || xml.Unmarshal(report, &verdicts) != nil || verdicts.Tests < 5 ||
		verdicts.Failures != 0 {
		t.Errorf("verdicts.xml: %+v, %v", verdicts, err)
	}
	if summary, err := os.ReadFile(filepath.Join(dir, "summary.md")); err != nil ||
		!strings.HasPrefix(string(summary), "### cityweather: fits ") {
		t.Errorf("summary.md: %.60s, %v", summary, err)
	}
	edit("handoff/cityweather.c", "int32_t", "int64_t")
	if code, _, stderr := run(); code != 1 || !strings.Contains(stderr, "has drifted") {
		t.Errorf("C edited by hand: exit code %d, stderr %q", code, stderr)
	}
	edit("handoff/cityweather.c", "int64_t", "int32_t")
	edit("job.toml", `flash = "24 KiB"`, `flash = "23 KiB"`)
	if code, stdout, stderr := run(); code != 1 || !strings.Contains(stderr, "has drifted") ||
		!strings.Contains(stdout, "job.toml") {
		t.Errorf("job edited: exit code %d, stdout %q, stderr %q", code, stdout, stderr)
	}
	edit("job.toml", "[model]", "[model")
	if code, _, stderr := run(); code != 2 || !strings.Contains(stderr, "kerf: error: job.toml:") {
		t.Errorf("job broken: exit code %d, stderr %q", code, stderr)
	}
}
