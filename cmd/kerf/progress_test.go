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

	"kerf/budget"
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

// The line says what is known: the time that is left, what was done, or how long it has lasted. The
// time that is left falls while a piece is done, and does not rise when the piece takes long.
func TestTimeLeft(t *testing.T) {
	start := time.Now()
	after := func(seconds float64) time.Time {
		return start.Add(time.Duration(seconds * float64(time.Second)))
	}
	w := &work{what: "measuring sizes", began: start, at: start}
	for _, c := range []struct {
		at        float64 // seconds
		done, all int
		want      string // at the end of the line
	}{
		{3, 0, 10, "sizes, 3s so far"},
		{4, 1, 10, "1 of 10, about 36s left"},
		{6, 1, 10, "1 of 10, about 34s left"},
		{30, 1, 10, "1 of 10, about 32s left"},
		{30, 5, 10, "5 of 10, about 30s left"},
		{45, 9, 10, "9 of 10, about 5s left"},
		{60, 9, 10, "9 of 10, about 0s left"},
		{61, 3, 0, "sizes, 3 done, 16s so far"}, // another piece of work, which began at 45 s
	} {
		w.advance(c.done, c.all, after(c.at))
		if got := w.line(after(c.at), 100); !strings.HasSuffix(got, c.want) {
			t.Errorf("after %v s: %q, want %q", c.at, got, c.want)
		}
	}
}

// Where there is no terminal nothing is drawn. On one the part that began last stands in the line,
// which is gone before a message or a result, and at the end.
func TestLineOfProgress(t *testing.T) {
	var out bytes.Buffer
	u := &ui{w: &out, width: 80}
	step, end := u.progress("trying cuts")
	step(1, 2)
	u.drawWork(time.Now())
	if end(); out.Len() > 0 {
		t.Errorf("without a terminal: %q", out.String())
	}
	u.terminal = true
	drawn := func(what, want string) {
		t.Helper()
		u.lock.Lock()
		defer u.lock.Unlock()
		if got := out.String(); got != want {
			t.Errorf("%s: %q, want %q", what, got, want)
		}
		out.Reset()
	}
	later := func() time.Time { return time.Now().Add(3 * time.Second) }
	const gone = "\r\x1b[K"
	endAll := u.phase("working")
	u.drawWork(later())
	drawn("a verb", "\rkerf: working, 3s so far\x1b[K")
	count, end := u.count("trying cuts")
	count(7)
	u.drawWork(later())
	drawn("a part", "\rkerf: trying cuts, 7 done, 3s so far\x1b[K")
	u.note("a cause")
	drawn("a note", gone+"kerf: note: a cause\n")
	end()
	end()
	u.drawWork(later())
	drawn("behind a part", "\rkerf: working, 3s so far\x1b[K")
	clearing{&out, u}.Write([]byte("result\n"))
	drawn("a result", gone+"result\n")
	u.drawWork(later())
	out.Reset()
	endAll()
	u.drawWork(later())
	drawn("the end", gone)
}

// What holds so far is told on a terminal, in a line of its own that stays.
func TestWhatHoldsSoFar(t *testing.T) {
	var out bytes.Buffer
	u := &ui{w: &out, width: 80}
	tell, end := u.trainings()
	if end(); tell.Holds != nil || out.Len() > 0 {
		t.Errorf("without a terminal: %q", out.String())
	}
	u.terminal = true
	tell, end = u.trainings()
	defer end()
	tell.Epochs("looking for the least units", 1, 0)
	u.drawWork(time.Now().Add(3 * time.Second))
	tell.Holds(budget.Holding{Candidate: budget.Candidate{Features: []int{0, 4},
		Units: [][]int{{0, 1, 2}, {5}}}, Used: 0.71, Share: 0.2345})
	tell.Holds(budget.Holding{Candidate: budget.Candidate{Features: []int{0},
		Units: [][]int{{0, 1, 2}}}, Fixed: true, Used: 0.9, Share: 0.2})
	const want = "\rkerf: looking for the least units, 1 done, 3s so far\x1b[K\r\x1b[K" +
		"kerf: so far 3,1 units, 2 features, cost 23.4 %, may use 71 % of a tolerance before " +
		"rounding\n" +
		"kerf: so far 3 units, 1 feature, cost 20.0 %, may use 90 % of a tolerance\n"
	if got := out.String(); got != want {
		t.Errorf("%q, want %q", got, want)
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
		cmd := exec.Command(terminal, "-qec", bin+" cost "+job+" --keep-features all "+
			"--keep-units all",
			os.DevNull)
		cmd.Env = append(os.Environ(), "TERM=xterm", "COLUMNS=80", env)
		out, _ := cmd.Output() // exit code 1: a limit is broken
		return string(out)
	}
	const red = "\x1b[1;31mfail\x1b[0m"
	if out := run("NO_COLOR="); !strings.Contains(out, red) {
		t.Errorf("no colour on a terminal:\n%s", out)
	}
	page := page{colour: true}
	for text, want := range map[string]string{
		"Verdict: does not fit: x": "\x1b[1;31mVerdict: does not fit\x1b[0m: x",
		"not enough 336 % air":     "\x1b[1;31mnot enough\x1b[0m 336 % air",
		"pass 12 % failing":        "pass 12 % failing",
	} {
		if got := page.paint(text); got != want {
			t.Errorf("%q is painted %q, want %q", text, got, want)
		}
	}
	if out := run("NO_COLOR=1"); strings.Contains(out, red) || !strings.Contains(out, "fail") {
		t.Errorf("colour in spite of NO_COLOR:\n%s", out)
	}
	code, stdout, stderr := call("cost", job, "--keep-features", "all", "--keep-units", "all")
	if code != exitBroken || strings.Contains(stdout+stderr, "\x1b") {
		t.Errorf("exit code %d, stdout %q", code, stdout)
	}
}
