package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/exporter/report"
)

// flagsJob is the job of the weather of two cities with flags for its first target.
func flagsJob(t *testing.T, keys string) string {
	t.Helper()
	return cityJob(t, func(job string) string {
		return strings.Replace(job, "[[target]]\n", "[[target]]\n"+keys+"\n", 1)
	})
}

// A job that names other flags than the estimates are for gets no verdict on what they change: exit
// code 1, and every rendering says so. Other verbs read that handoff as any other.
func TestFlagsWithoutAnEstimate(t *testing.T) {
	job := flagsJob(t, `flags = "-O3"`)
	dir := filepath.Join(t.TempDir(), "handoff")
	code, stdout, stderr := call("plan", job, "--out", dir)
	if code != exitBroken || !strings.Contains(stdout, "Verdict: no estimate for these flags: "+
		"cortex-m4f/") || !strings.Contains(stdout, "GCC 12.2.1 -O3") ||
		!strings.Contains(stdout, "Next: kerf plan job.toml --measure; ") {
		t.Errorf("exit code %d, stderr %q\n%s", code, stderr, stdout)
	}
	for file, wants := range map[string][]string{
		"signoff.md": {"| no estimate for these flags | GCC 12.2.1 -O3 |",
			"| flash: code | no estimate |"},
		"signoff.csv":       {",GCC 12.2.1 -Os,0\n"},
		"signoff.json":      {`"verdict": "no estimate for these flags"`, `"kind": "no estimate"`},
		"signoff.html":      {"no estimate for these flags", "GCC 12.2.1 -O3 on cortex-m4f"},
		"cityweather.mk":    {"_CFLAGS += -O3\n", "holds for GCC 12.2.1 -O3 on cortex-m4f; "},
		"cityweather.c":     {"NOT SIGNED. Verdict: no estimate for these flags"},
		"cityweather.cmake": {"_OPTIONS -O3)\n"},
	} {
		text, err := os.ReadFile(filepath.Join(dir, file))
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range wants {
			if !strings.Contains(string(text), want) {
				t.Errorf("%s does not hold %q", file, want)
			}
		}
	}
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"verify", dir}, exitDone, "self-test in Go"},
		{[]string{"show", dir, "--all"}, exitBroken, "one network and one step, GCC 12.2.1 -O3"},
		{[]string{"explain", dir, "cortex-m4f/cycles"}, exitDone, "GCC 12.2.1 -O3"},
		{[]string{"explain", dir}, exitDone, "no estimate"},
		{[]string{"compare", dir, dir}, exitDone, "same"},
		{[]string{"cost", job}, exitBroken, "no estimate for these flags"},
		{[]string{"cost", job, "--all-targets"}, exitBroken, "no estimate"},
	} {
		code, stdout, stderr := call(c.args...)
		if code != c.code || !strings.Contains(stdout, c.want) {
			t.Errorf("%s: exit code %d, want %d with %q\n%s%s", c.args, code, c.code, c.want,
				stdout, stderr)
		}
	}
}

// The flags that the estimates are for, spelled otherwise, change no verdict.
func TestFlagsOfTheEstimates(t *testing.T) {
	job := flagsJob(t, `compiler = "arm-none-eabi-gcc 12.3"
flags = "-mthumb -mfloat-abi=hard -Os -mcpu=cortex-m4"`)
	dir := filepath.Join(t.TempDir(), "handoff")
	code, stdout, stderr := call("plan", job, "--out", dir)
	if code != exitDone || !strings.Contains(stdout, "Verdict: fits") ||
		!strings.Contains(stdout, "arm-none-eabi-gcc 12.3 -Os on cortex-m4f") {
		t.Errorf("exit code %d, stderr %q\n%s", code, stderr, stdout)
	}
}

// Flags that cannot be read are bad input, with their line.
func TestBadFlagsAreRefused(t *testing.T) {
	job := flagsJob(t, `flags = "-O1 -Wall"`)
	code, stdout, stderr := call("plan", job)
	if code != exitInput || stdout != "" || !strings.Contains(stderr, "job.toml:") ||
		!strings.Contains(stderr, "leave out what changes no code") {
		t.Errorf("exit code %d, stdout %q, stderr %q", code, stdout, stderr)
	}
}

// The long text names the worst fault of a feature for every output, and the first screen does not;
// JSON has every fault of every kept feature.
func TestFaultyFeaturesInTheText(t *testing.T) {
	_, dir := cityHandoff(t)
	_, all, _ := call("show", dir, "--all")
	_, screen, _ := call("show", dir)
	for _, output := range []string{"temp_max_next", "temp_min_next"} {
		line := "\n" + output + ": worst with "
		if strings.Count(all, line) != 1 || strings.Contains(screen, "worst with") {
			t.Errorf("%s:\n%s\n%s", output, all, screen)
		}
	}
	text, err := os.ReadFile(filepath.Join(dir, "signoff.json"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := report.Read(text)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := len(s.Faults.Rows), 4*2*len(s.Kept.Features); got != want {
		t.Errorf("%d rows of faults, want %d", got, want)
	}
	// A handoff of an older kerf has no such part; it is shown, explained and compared as ever.
	s.Faults = nil
	older, err := s.JSON()
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "signoff.json")
	if err := os.WriteFile(file, older, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"show", file, "--all"}, {"explain", file, "temp_max_next"},
		{"compare", file, dir}, {"compare", dir, file}} {
		if code, stdout, stderr := call(args...); code != exitDone ||
			strings.Contains(stdout, "worst with") {
			t.Errorf("%s: exit code %d\n%s%s", args, code, stdout, stderr)
		}
	}
}
