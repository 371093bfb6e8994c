package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/budget"
)

// withoutChannel runs kerf rank --without on the open data, whose job is changed.
func withoutChannel(t *testing.T, channel string, pairs ...string) *withoutResult {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(filepath.Join("..", "..", "testdata",
		"cityweather"))); err != nil {
		t.Fatal(err)
	}
	job := filepath.Join(dir, "job.toml")
	text, err := os.ReadFile(job)
	if err != nil {
		t.Fatal(err)
	}
	changed := strings.NewReplacer(append(pairs, "[outputs]", vane+"[outputs]")...).
		Replace(string(text))
	if err := os.WriteFile(job, []byte(changed), 0o600); err != nil {
		t.Fatal(err)
	}
	features := filepath.Join(dir, "features.csv")
	if text, err = os.ReadFile(features); err != nil {
		t.Fatal(err)
	}
	// the features of the wind are computed by code of their own
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	for i := range lines {
		end := ","
		switch {
		case i == 0:
			end = ",front_end"
		case strings.Contains(lines[i], ",wind,"):
			end = ",vane"
		}
		lines[i] += end
	}
	if err := os.WriteFile(features, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, stdout, stderr := call("rank", job, "--without", channel, "--json")
	if code != 0 {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	r := &withoutResult{}
	if err := json.Unmarshal([]byte(stdout), r); err != nil {
		t.Fatal(err)
	}
	return r
}

const vane = "[[front_end]]\nname = \"vane\"\nflash = \"400 B\"\nram = \"32 B\"\n" +
	"cycles = { \"cortex-m4f\" = 900, \"cortex-m0plus\" = 2000 }\n\n"

// says reports whether a finding holds a text.
func (r *withoutResult) hasFinding(text string) bool {
	return slices.ContainsFunc(r.Findings, func(f findingRow) bool {
		return strings.Contains(f.Finding, text)
	})
}

// Where nothing is within every tolerance without a channel, that is said with the row that loses
// most, and what the channel takes of the best network with it, front ends and all.
func TestNothingFitsWithoutAChannel(t *testing.T) {
	r := withoutChannel(t, "wind")
	if r.Fits || r.Without.Within || !r.With.Within ||
		!slices.Equal(r.Features, []string{"wind", "wind_lag1d"}) ||
		!slices.Equal(r.FrontEnds, []string{"vane"}) {
		t.Errorf("%+v", r)
	}
	broken := 0
	for _, l := range r.Loss {
		if !l.Kept {
			broken++
			if l.MayReach == nil || *l.MayReach <= l.Tolerance {
				t.Errorf("%s is broken: %+v", l.Text(), l)
			}
		}
	}
	if broken == 0 || !r.hasFinding("Without wind nothing fits") || !r.hasFinding("[recovery]") ||
		!r.hasFinding(`drop = ["channel:wind"]`) || !r.hasFinding("front ends: vane") {
		t.Errorf("%d rows are broken; %q", broken, r.Findings)
	}
	want := map[budget.Resource]float64{budget.Flash: 400, budget.RAM: 32, budget.Cycles: 900}
	for _, c := range r.Cost {
		// Fewer columns of inputs than units need a kernel of their own, which takes flash back.
		least := want[c.Resource]
		if c.Resource == budget.Flash {
			least = 0
		}
		if v := want[c.Resource]; v != 0 && c.Target == "cortex-m4f" && (c.FrontEnd == nil ||
			*c.FrontEnd != v || c.Freed < least || c.Freed != c.With-c.Without) {
			t.Errorf("%+v", c)
		}
	}
}

// With wide tolerances a network without the channel fits, and is compared with the best one.
func TestANetworkWithoutAChannel(t *testing.T) {
	r := withoutChannel(t, "precipitation", `"5 %"`, `"300 %"`)
	if !r.Fits || !r.Without.Within || r.Without.Broken != 0 {
		t.Errorf("%+v", r)
	}
	for _, l := range r.Loss {
		if !l.Kept {
			t.Errorf("%s is broken", l.Text())
		}
	}
	if slices.ContainsFunc(r.Without.Features, func(name string) bool {
		return strings.HasPrefix(name, "precip")
	}) {
		t.Errorf("it keeps %q", r.Without.Features)
	}
}

// What cannot be asked is refused in one sentence.
func TestWithoutIsChecked(t *testing.T) {
	job := filepath.Join("..", "..", "testdata", "cityweather", "job.toml")
	for says, args := range map[string][]string{
		`did you mean "wind"?`: {"rank", job, "--without", "wnid"},
		"none of the others":   {"rank", job, "--without", "wind", "--shapley"},
		"no feature is left": {"rank", job, "--without",
			"wind,temperature,precipitation,calendar"},
	} {
		code, stdout, stderr := call(args...)
		if code != exitInput || stdout != "" || !strings.Contains(stderr, says) {
			t.Errorf("%q: exit code %d, %s%s", args, code, stdout, stderr)
		}
	}
}
