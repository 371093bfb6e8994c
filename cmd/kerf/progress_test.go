package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

func TestProgressTextFitsTheTerminal(t *testing.T) {
	for _, c := range []struct {
		width, done int
		want        string
	}{
		{100, 3, "kerf: trying cuts, [#########.....................] 3 of 10, about 1m5s left"},
		{100, 10, "kerf: trying cuts, [##############################] 10 of 10, about 1m5s left"},
		{62, 5, "kerf: trying cuts, [#######........] 5 of 10, about 1m5s left"},
		{40, 5, "kerf: trying cuts, 5 of 10, about 1m5s left"},
	} {
		got := progressText("trying cuts,", c.done, 10, 65*time.Second, c.width)
		if got != c.want {
			t.Errorf("%d columns: %q, want %q", c.width, got, c.want)
		}
	}
	// A line as wide as the terminal would make it scroll.
	var out bytes.Buffer
	u := &ui{w: &out, terminal: true, width: 20}
	u.draw("kerf: trying cuts, 5 of 10, about 1m5s left")
	if line := strings.Trim(strings.TrimSuffix(out.String(), "\x1b[K"),
		"\r"); utf8.RuneCountInString(line) >= 20 {
		t.Errorf("%q has the width of the terminal or more", line)
	}
}

// Before a second has passed, and where there is no terminal, nothing is drawn; what was drawn is
// gone at the end.
func TestProgressIsQuietAtFirstAndWithoutTerminal(t *testing.T) {
	for _, isTerminal := range []bool{true, false} {
		var out bytes.Buffer
		u := &ui{w: &out, terminal: isTerminal, width: 80}
		u.progress("trying cuts,")(1, 10)
		if out.Len() > 0 {
			t.Errorf("terminal %v: %q in the first second", isTerminal, out.String())
		}
		step := u.progress("trying cuts,")
		u.started = u.started.Add(-2 * shownFrom)
		step(1, 10)
		u.endProgress()
		if drawn := strings.Contains(out.String(), "1 of 10"); drawn != isTerminal || isTerminal &&
			!strings.HasSuffix(out.String(), "\r\x1b[K") {
			t.Errorf("terminal %v: %q", isTerminal, out.String())
		}
		u.phase("waiting")()
	}
}

// On a terminal (that of util-linux's script) verdicts that are no pass are painted, with NO_COLOR
// they are not, and a pipe gets no control characters.
func TestColoursOnATerminal(t *testing.T) {
	terminal, err := exec.LookPath("script")
	if err != nil {
		t.Fatal("script is not installed: install the Debian package bsdutils")
	}
	dir := t.TempDir()
	bin := filepath.Join(dir, "kerf")
	if out, err := exec.Command("go", "build", "-o", bin, ".").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	job := cityJob(t, func(job string) string {
		return strings.Replace(job, `"12 KiB"`, `"1 KiB"`, 1)
	})
	run := func(env string) string {
		cmd := exec.Command(terminal, "-qec", bin+" cost "+job+" --features all --units all",
			os.DevNull)
		cmd.Env = append(os.Environ(), "TERM=xterm", "COLUMNS=80", env)
		out, _ := cmd.Output() // exit code 1: a limit is broken
		return string(out)
	}
	const red = "\x1b[1;31mfail\x1b[0m"
	if out := run("NO_COLOR="); !strings.Contains(out, red) {
		t.Errorf("no colour on a terminal:\n%s", out)
	}
	if out := run("NO_COLOR=1"); strings.Contains(out, red) || !strings.Contains(out, "fail") {
		t.Errorf("colour in spite of NO_COLOR:\n%s", out)
	}
	code, stdout, stderr := call("cost", job, "--features", "all", "--units", "all")
	if code != exitBroken || strings.Contains(stdout+stderr, "\x1b") {
		t.Errorf("exit code %d, stdout %q", code, stdout)
	}
}
