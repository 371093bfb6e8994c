package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/exporter/report"
)

// planned plans a job and returns its sign-off and all that the terminal shows of it.
func planned(t *testing.T, job string) (*report.Signoff, string) {
	t.Helper()
	t.Setenv("COLUMNS", "200") // no table is parted
	code, text, stderr := call("plan", job, "--all")
	if code != exitDone && code != exitBroken {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	content, err := os.ReadFile(filepath.Join(filepath.Dir(job), "handoff", "signoff.json"))
	if err != nil {
		t.Fatal(err)
	}
	s := &report.Signoff{}
	if err := json.Unmarshal(content, s); err != nil {
		t.Fatal(err)
	}
	return s, text
}

// Without a feature that matters the integer network follows the cut network closely and the
// network as given poorly: the table says so first.
func TestTableShowsWhatTheCutCosts(t *testing.T) {
	s, text := planned(t, cityJob(t, func(job string) string {
		return strings.NewReplacer("5 %", "500 %", `file = "features.csv"`,
			"file = \"features.csv\"\ndrop = [\"season_cos\"]").Replace(job)
	}))
	words, show := strings.Join(strings.Fields(text), " "), report.Significant
	for _, e := range s.Extremes {
		if *e.GivenSeen < 2**e.Seen || *e.GivenMean < 2**e.Mean {
			t.Errorf("%s: from the network as given %g and %g, by rounding alone %g and %g",
				e.Output, *e.GivenMean, *e.GivenSeen, *e.Mean, *e.Seen)
		}
		if *e.GivenFound < *e.GivenSeen || *e.GivenAny < *e.GivenFound ||
			*e.GivenDropped < *e.GivenFound {
			t.Errorf("%s: less is found than was seen: %+v", e.Output, e)
		}
		for _, row := range [][]string{
			{e.Output + ", degC", show(*e.GivenMean), show(*e.GivenSeen)},
			{e.Output + ", rounding alone", show(*e.Mean), show(*e.Seen)},
		} {
			if !strings.Contains(words, strings.Join(row, " ")) {
				t.Errorf("the terminal does not show %q", row)
			}
		}
	}
	if len(s.Extremes) != 2 {
		t.Errorf("%d outputs", len(s.Extremes))
	}
}

// Nothing may be cut: both differences are one, and the report says so.
func TestNothingCutIsSaid(t *testing.T) {
	s, text := planned(t, cityJob(t, func(job string) string {
		return strings.Replace(job, `file = "features.csv"`, `file = "features.csv"
keep = ["temp_max", "temp_min", "temp_range", "temp_max_lag1d", "temp_max_slope1d", "temp_mean7d",
"precip", "precip_sum3d", "wind", "wind_lag1d", "season_sin", "season_cos"]
[units]
keep = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]`, 1)
	}))
	if len(s.Extremes) != 2 {
		t.Errorf("%d outputs", len(s.Extremes))
	}
	for _, e := range s.Extremes {
		if *e.GivenMean != *e.Mean || *e.GivenSeen != *e.Seen || *e.GivenFound != *e.Found ||
			*e.GivenAny != *e.FoundAny || e.GivenDropped != nil {
			t.Errorf("nothing was cut, and the differences are %+v", e)
		}
	}
	words := strings.Join(strings.Fields(text), " ")
	line := "Nothing was cut or trained: rounding alone makes the difference."
	if strings.Contains(words, ", rounding alone") || !strings.Contains(words, line) {
		t.Errorf("the report does not say that nothing was cut:\n%s", text)
	}
}
