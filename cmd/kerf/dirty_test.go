package main

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"kerf/exporter/report"
)

// dirtyJob is the open data set with one scenario, no tolerance and changed recordings. change gets
// the columns by name.
func dirtyJob(t *testing.T,
	change func(file string, row int, cells map[string]string) (keep bool)) string {
	t.Helper()
	job := cityJob(t, func(job string) string {
		before, after, _ := strings.Cut(job, "[tolerance]")
		_, after, _ = strings.Cut(after, "[[target]]")
		return before + "[formats]\nweights = \"int8\"\nstate = \"int16\"\n[[target]]" + after
	})
	for _, name := range []string{"selection.csv", "signoff.csv"} {
		path := filepath.Join(filepath.Dir(job), name)
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(string(text))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var out strings.Builder
		w := csv.NewWriter(&out)
		w.Write(rows[0]) // errors are sticky and reported below
		for i, row := range rows[1:] {
			cells := map[string]string{}
			for c, column := range rows[0] {
				cells[column] = row[c]
			}
			if !change(name, i, cells) {
				continue
			}
			for c, column := range rows[0] {
				row[c] = cells[column]
			}
			w.Write(row)
		}
		w.Flush()
		if w.Error() != nil {
			t.Fatal(w.Error())
		}
		if err := os.WriteFile(path, []byte(out.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return job
}

// What is odd about recordings but not refused is stated in the notes of the sign-off, and every
// figure is a number.
func TestDirtyRecordingsAreStated(t *testing.T) {
	still := func(columns ...string) func(string, int, map[string]string) bool {
		return func(_ string, _ int, cells map[string]string) bool {
			for column := range cells {
				if slices.Contains(columns, column) || len(columns) == 0 && column != "sequence" &&
					column != "scenario" && column != "t" {
					cells[column] = "4"
				}
			}
			return true
		}
	}
	last := ""
	for _, c := range []struct {
		name   string
		change func(file string, row int, cells map[string]string) bool
		notes  []string
	}{
		{"clean", func(string, int, map[string]string) bool { return true }, nil},
		{"a feature stands still", still("wind"), []string{
			"columns that have one value in all selection recordings: wind (4); what they do " +
				"when they move is not known to any choice",
			"columns that have one value in all sign-off recordings: wind (4); how well they " +
				"are followed when they move is not judged"}},
		{"everything stands still", still(), []string{"in all selection recordings: temp_max " +
			"(4), temp_min (4)", "temp_max_next (4), temp_min_next (4); how well"}},
		{"one step each", func(_ string, _ int, cells map[string]string) bool {
			first := cells["sequence"] != last
			last = cells["sequence"]
			return first
		}, []string{"12 of 12 selection sequences have one step: they show nothing of what the " +
			"network remembers", "12 of 12 sign-off sequences have one step"}},
		{"a feature leaves its range by 1000 times",
			func(file string, row int, cells map[string]string) bool {
				if v, err := strconv.ParseFloat(cells["wind"], 64); err == nil &&
					file == "signoff.csv" && row == 100 {
					cells["wind"] = strconv.FormatFloat(1000*(v+10), 'g', -1, 64)
				}
				return true
			}, []string{"feature values of the sign-off recordings lie beyond the calibrated " +
				"range and saturate; the furthest is wind with ", "times as far from its mean " +
				"as the range reaches, in step "}},
		{"the same in both files", func(file string, row int, cells map[string]string) bool {
			if row == 7 {
				cells["wind"], cells["temp_max_next"] = "-1e5", "1e5"
			}
			return true
		}, []string{"one value of wind makes 100 % of its variance in the selection recordings: " +
			"-1e+05 m/s in step 8 of sequence 12 of selection.csv; if it is a glitch, take it out",
			"1 feature values of the selection recordings lie beyond the range of fixed point " +
				"and saturate; the furthest is wind with -1e+05 m/s"}},
		{"a scenario in one file only", func(file string, row int, cells map[string]string) bool {
			if cells["sequence"] == "12" || cells["sequence"] == "18" {
				cells["scenario"] = "only in " + file
			}
			return true
		}, []string{"scenario only in selection.csv has selection recordings but no sign-off " +
			"recordings: nothing is judged there",
			"scenario only in signoff.csv has sign-off recordings but no selection recordings: " +
				"nothing was chosen or calibrated there"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, stdout, stderr := call("plan", dirtyJob(t, c.change), "--json")
			if code != exitDone && code != exitBroken {
				t.Fatalf("exit code %d: %s", code, stderr)
			}
			var s report.Signoff
			if err := json.Unmarshal([]byte(stdout), &s); err != nil {
				t.Fatal(err)
			}
			notes := strings.Join(s.Warnings, "\n")
			for _, want := range c.notes {
				if !strings.Contains(notes, want) {
					t.Errorf("the notes lack %q:\n%s", want, notes)
				}
			}
			if c.notes == nil &&
				(strings.Contains(notes, "one value") || strings.Contains(notes, "one step") ||
					strings.Contains(notes, "furthest") || strings.Contains(notes, "glitch")) {
				t.Errorf("notes on clean recordings:\n%s", notes)
			}
			for _, l := range s.Loss {
				if math.IsNaN(l.Float+l.Cut+l.Fixed) || math.IsInf(l.Float+l.Cut+l.Fixed, 0) {
					t.Errorf("%s %s %s: %v, %v, %v", l.Output, l.Scenario, l.Metric, l.Float, l.Cut,
						l.Fixed)
				}
			}
		})
	}
}

// A value that leaves nothing of all others is bad input, not a bug and no verdict.
func TestAbsurdValuesAreRefused(t *testing.T) {
	code, stdout,
		stderr := call("plan", dirtyJob(t, func(_ string, row int, cells map[string]string) bool {
		if row == 7 {
			cells["wind"] = "-1e30"
		}
		return true
	}))
	if code != exitInput || stdout != "" ||
		!strings.Contains(stderr, "do not fit one fixed-point row") ||
		!strings.Contains(stderr, "a recorded value far beyond all others") {
		t.Errorf("exit code %d, stdout %q, stderr %s", code, stdout, stderr)
	}
}
