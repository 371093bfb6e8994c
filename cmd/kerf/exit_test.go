package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/exporter/report"
)

// call runs kerf in this process.
func call(args ...string) (code int, stdout, stderr string) {
	var out, errors bytes.Buffer
	code = run(args, strings.NewReader(""), &out, &errors)
	return code, out.String(), errors.String()
}

// cityJob copies the open data set into a fresh folder, with one scenario for
// all, and changes the text of the job.
func cityJob(t *testing.T, change func(job string) string) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(filepath.Join("..", "..", "testdata", "cityweather"))); err !=
		nil {
		t.Fatal(err)
	}
	edit := func(name string, f func(string) string) {
		path := filepath.Join(dir, name)
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(f(string(text))), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	oneScenario := strings.NewReplacer("seattle_cold", "any", "seattle_warm", "any", "newyork_cold",
		"any", "newyork_warm", "any").Replace
	edit("selection.csv", oneScenario)
	edit("signoff.csv", oneScenario)
	edit("job.toml", func(job string) string {
		return change(strings.Replace(job, "[scores]\nfile = \"scores.csv\"\n", "", 1))
	})
	return filepath.Join(dir, "job.toml")
}

// A network of one unit has nothing more to cut, and a plan all the same.
func TestANetworkOfOneUnit(t *testing.T) {
	job := cityJob(t, func(job string) string { return job })
	one := filepath.Join(filepath.Dir(job), "one.safetensors")
	if code, _, errors := call("prune", job, "--keep-features", "all", "--keep-units", "1", "--out",
		one); code == exitInput || code == exitOurBug {
		t.Fatal(code, errors)
	}
	text, err := os.ReadFile(job)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(job, bytes.Replace(text, []byte("model.npz"), []byte("one.safetensors"),
		1), 0o644); err != nil {
		t.Fatal(err)
	}
	if code, _, errors := call("plan", job); code != exitDone && code != exitBroken {
		t.Error(code, errors)
	}
}

func TestExitCodes(t *testing.T) {
	same := func(job string) string { return job }
	tightFlash := func(job string) string { return strings.Replace(job, `"12 KiB"`, `"1 KiB"`, 1) }
	for _, c := range []struct {
		name string
		args []string
		want int
	}{
		{"within every limit", []string{"plan", cityJob(t, same)}, exitDone},
		{"a limit is broken", []string{"plan", cityJob(t, tightFlash)}, exitBroken},
		{"a limit is broken, cost only", []string{"cost", cityJob(t, tightFlash)}, exitBroken},
		{"too few sequences", []string{"plan", cityJob(t, func(job string) string {
			return strings.Replace(job, `rmse_rise = "5 %"`, `rmse_rise = "0.0001 %"`, 1)
		}), "--json"}, exitBroken},
		{"no such job", []string{"plan", "nowhere.toml"}, exitInput},
		{"no argument", []string{"plan"}, exitInput},
		{"unknown option", []string{"plan", "--frobnicate"}, exitInput},
		{"unknown command", []string{"frobnicate"}, exitInput},
		{"help", []string{"--help"}, exitDone},
		{"version", []string{"--version"}, exitDone},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, _, stderr := call(c.args...)
			if code != c.want {
				t.Errorf("exit code %d, want %d; stderr: %s", code, c.want, stderr)
			}
			if (code == exitInput) != strings.Contains(stderr, "kerf: error:") {
				t.Errorf("exit code %d with stderr %q", code, stderr)
			}
		})
	}
}

// The float error on the sign-off recordings is the one that the data set's
// README states (testdata/cityweather/README.md, part "Float result on sign-off").
func TestCityWeatherFloatError(t *testing.T) {
	job := filepath.Join("..", "..", "testdata", "cityweather", "job.toml")
	code, stdout,
		stderr := call("plan", job, "--json", "--out", filepath.Join(t.TempDir(), "handoff"))
	if code != exitDone {
		t.Fatalf("exit code %d, stderr %s", code, stderr)
	}
	var s report.Signoff
	if err := json.Unmarshal([]byte(stdout), &s); err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{"temp_max_next": 3.00854, "temp_min_next": 2.3826}
	found := 0
	for _, l := range s.Loss {
		if l.Scenario == "all" && l.Region == "" && l.Metric == "rmse" {
			found++
			if math.Abs(l.Float-want[l.Output]) > 5e-6 {
				t.Errorf("%s: float rmse %.6f, the README states %.5f", l.Output, l.Float,
					want[l.Output])
			}
			if l.Sequences != 12 || l.Steps != 714 {
				t.Errorf("%s: %d sequences, %d steps; the README states 12 and 714", l.Output,
					l.Sequences, l.Steps)
			}
		}
	}
	if found != len(want) || s.Verdict == "" {
		t.Errorf("%d rows found, verdict %q", found, s.Verdict)
	}
}
