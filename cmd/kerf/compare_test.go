package main

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"kerf/budget"
	"kerf/exporter/report"
)

// exported is the whole network of a job as a handoff beside the job.
func exported(t *testing.T, job string) (handoff string) {
	t.Helper()
	whole := []string{"export", job, "--keep-features", "all", "--keep-units", "all", "--weights",
		"int8", "--state", "int16"}
	code, _, stderr := call(whole...)
	if code > exitBroken {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	return filepath.Join(filepath.Dir(job), "handoff")
}

// edits change files by name.
type edits map[string]func(content []byte) []byte

// demoJob writes the demo with three of its ten selection sequences per scenario, to save time, and
// with limits that the whole network meets, and changes the files that are named.
func demoJob(t *testing.T, changes edits) (job string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "demo")
	if err := writeDemo(dir); err != nil {
		t.Fatal(err)
	}
	rewritten(t, dir, "selection.csv", func(content []byte) []byte {
		return regexp.MustCompile(`(?m)^sel-\w+-(0[4-9]|10),.*\n`).ReplaceAll(content, nil)
	})
	rewritten(t, dir, "job.toml", func(content []byte) []byte {
		content = bytes.ReplaceAll(content, []byte(`"8 KiB"`), []byte(`"24 KiB"`))
		return bytes.ReplaceAll(content, []byte(`"1 ms"`), []byte(`"5 ms"`))
	})
	for name, change := range changes {
		rewritten(t, dir, name, change)
	}
	return filepath.Join(dir, "job.toml")
}

// rewritten changes a file.
func rewritten(t *testing.T, dir, name string, change func(content []byte) []byte) {
	t.Helper()
	path := filepath.Join(dir, name)
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rewrite(t, path, change(content))
}

// exchanged exchanges two lines, counted from 0.
func exchanged(a, b int) func(content []byte) []byte {
	return func(content []byte) []byte {
		lines := strings.Split(string(content), "\n")
		lines[a], lines[b] = lines[b], lines[a]
		return []byte(strings.Join(lines, "\n"))
	}
}

// headColumn multiplies the weights of one unit in the head of a safetensors file.
func headColumn(t *testing.T, unit int, factor float64) func(content []byte) []byte {
	return func(content []byte) []byte {
		length := binary.LittleEndian.Uint64(content)
		var tensors map[string]struct {
			Shape   []int `json:"shape"`
			Offsets []int `json:"data_offsets"`
		}
		if err := json.Unmarshal(content[8:8+length], &tensors); err != nil {
			t.Fatal(err)
		}
		head := tensors["head.weight"]
		for row := range head.Shape[0] {
			at := content[8+int(length)+head.Offsets[0]+4*(row*head.Shape[1]+unit):]
			weight := float64(math.Float32frombits(binary.LittleEndian.Uint32(at)))
			binary.LittleEndian.PutUint32(at, math.Float32bits(float32(factor*weight)))
		}
		return content
	}
}

// compared is what kerf compare says of two handoffs.
func compared(t *testing.T, old, fresh string, wantCode int) *report.Comparison {
	t.Helper()
	code, stdout, stderr := call("compare", old, fresh, "--json")
	c := &report.Comparison{}
	if err := json.Unmarshal([]byte(stdout), c); err != nil || code != wantCode {
		t.Fatalf("exit code %d, want %d: %v, %s", code, wantCode, err, stderr)
	}
	return c
}

// outcomes counts the rows of the accuracy by outcome.
func outcomes(c *report.Comparison) map[report.Outcome]int {
	n := map[report.Outcome]int{}
	for _, l := range c.Loss {
		n[l.Outcome]++
	}
	return n
}

// Errors are compared as they are, not against each handoff's own float network, which may have got
// worse as well; and handoffs of other recordings not at all.
func TestCompareSeesALargerError(t *testing.T) {
	whole := exported(t, demoJob(t, nil))
	// Lines 1 and 5 below the head: the level of the supply is taken for its second harmonic.
	mixedUp := exported(t, demoJob(t, edits{"features.csv": exchanged(1, 5)}))
	retrained := exported(t, demoJob(t, edits{"model.safetensors": headColumn(t, 10, 0.88)}))
	for handoff, want := range map[string]struct {
		low, high float64 // of the change of the leakage over all recordings
		verdict   budget.Verdict
	}{mixedUp: {0.3, 0.5, "does not fit"}, retrained: {0.07, 0.13, "fits"}} {
		c := compared(t, whole, handoff, exitBroken)
		n := outcomes(c)
		first := c.Loss[0]
		if c.Verdict != report.Worse || c.New.Verdict != want.verdict || n[report.Better] > 0 ||
			n[report.NotComparable] > 0 {
			t.Errorf("%s, now %s: %v", c.Verdict, c.New.Verdict, n)
		}
		if first.Output != "leakage" || first.Scenario != "all" || *first.Change < want.low ||
			*first.Change > want.high || *first.ChangeLow <= 0 || first.Outcome != report.Worse {
			t.Errorf("leakage changes by %v [%v, %v]: %s", *first.Change, *first.ChangeLow,
				*first.ChangeHigh, first.Outcome)
		}
	}
	_, summary, _ := call("show", mixedUp, "--format", "summary", "--since", whole)
	first, _, _ := strings.Cut(summary, "\n")
	if !strings.HasPrefix(first, "### leakair: does not fit") ||
		!strings.Contains(first, "; worse than ") {
		t.Error(first)
	}
	checkWidth(t, whole, mixedUp)
	same := compared(t, whole, whole, exitDone)
	if n := outcomes(same); same.Verdict != report.Same || n[report.Same] != 12 ||
		len(same.Loss) != 12 {
		t.Errorf("with itself: %s, %v", same.Verdict, n)
	}

	city := exported(t, cityJob(t, func(job string) string { return job }))
	elsewhere := compared(t, whole, city, exitBroken)
	if n := outcomes(elsewhere); elsewhere.Verdict != report.NotComparable ||
		elsewhere.Why != "other outputs" || n[report.Better] > 0 {
		t.Errorf("another job: %s, %s, %v", elsewhere.Verdict, elsewhere.Why, n)
	}
	isCostCompared := false
	for _, r := range elsewhere.Cost {
		isCostCompared = isCostCompared || r.Outcome == report.Better
	}
	if !isCostCompared {
		t.Errorf("another job: costs are not compared: %+v", elsewhere.Cost)
	}
	checkWidth(t, whole, city)

	// Outputs that are off by 45 degrees: an error about 15 times as large, of which rounding adds
	// next to nothing.
	job := cityJob(t, func(job string) string { return job })
	rewritten(t, filepath.Dir(job), "outputs.csv", func(content []byte) []byte {
		return []byte(strings.ReplaceAll(string(content), "degC,0,1", "degC,45,1"))
	})
	c := compared(t, city, exported(t, job), exitBroken)
	if n := outcomes(c); c.Verdict != report.Worse || n[report.Worse] != len(c.Loss) ||
		*c.Loss[0].Change < 10 {
		t.Errorf("%s, %v, changed by %g", c.Verdict, n, *c.Loss[0].Change)
	}
}

// checkWidth looks for lines of the text that are wider than a terminal of 80 columns.
func checkWidth(t *testing.T, old, fresh string) {
	t.Helper()
	_, stdout, _ := call("compare", old, fresh)
	for line := range strings.Lines(stdout) {
		if utf8.RuneCountInString(strings.TrimSuffix(line, "\n")) > 80 {
			t.Errorf("wider than 80 columns: %s", line)
		}
	}
}
