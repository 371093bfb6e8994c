//go:build emulate

package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"kerf/budget"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestEmulatedHelpExamples(t *testing.T) {
	if n := runExamples(t, emulates); n < 3 {
		t.Errorf("only %d examples found", n)
	}
}

func TestEmulatedScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script_emulate", Setup: copyInputs})
}

// A measured value above a limit of the job gives exit code 1.
func TestEmulatedExitCodes(t *testing.T) {
	job := cityJob(t, func(job string) string {
		return strings.Replace(job, `"12 KiB"`, `"1 KiB"`, 1)
	})
	if code, _, stderr := call("measure", job); code != exitBroken {
		t.Errorf("exit code %d, want %d; stderr %s", code, exitBroken, stderr)
	}
}

// What must hold for any network: the stack stays within the bound of the sign-off, a step changes
// no more than the chain of calls takes, and the network takes at least its weights and its state.
func TestEmulatedMeasureAgreesWithSignoff(t *testing.T) {
	job := cityJob(t, func(job string) string { return job })
	code, stdout, stderr := call("measure", job, "--json")
	if code != exitDone {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	var m measurement
	if err := json.Unmarshal([]byte(stdout), &m); err != nil {
		t.Fatal(err)
	}
	if len(m.Targets) != 2 {
		t.Fatalf("%d targets, want 2", len(m.Targets))
	}
	for _, target := range m.Targets {
		value := map[string]float64{}
		for _, r := range target.Rows {
			value[string(r.Resource)+" "+r.Part] = r.Measured
			if r.Resource == budget.Stack && r.Part == budget.NetworkPart &&
				r.Measured > *r.Estimate {
				t.Errorf("%s: %v bytes of stack, the sign-off says at most %v", target.Target,
					r.Measured, *r.Estimate)
			}
			if r.Resource == budget.RAM && r.Measured < *r.Estimate {
				t.Errorf("%s: %v bytes of RAM, the state alone takes %v", target.Target, r.Measured,
					*r.Estimate)
			}
		}
		if value["stack painted"] > value["stack network"] || value["stack painted"] == 0 {
			t.Errorf("%s: %v bytes painted, chain %v", target.Target, value["stack painted"],
				value["stack network"])
		}
		if value["cycles network"] != target.Found || target.MaxCycles > target.Found ||
			target.Searched == 0 || target.MinCycles <= 0 || target.MinCycles > target.MaxCycles {
			t.Errorf("%s: cycles %v, shortest %v, longest %v", target.Target,
				value["cycles network"], target.MinCycles, target.MaxCycles)
		}
	}
}

// With samples in the job both ways of measuring run the front end: from the job and from the
// handoff, whose files say what the converters have.
func TestEmulatedMeasureRunsTheFrontEnd(t *testing.T) {
	t.Chdir(filepath.Dir(cityJob(t, func(job string) string {
		return strings.Replace(job, `file = "features.csv"`,
			"file = \"features.csv\"\nkeep = [\"temp_max\"]", 1)
	})))
	addSamples(t)
	if code, _, stderr := call("plan", "job.toml", "--out", "handoff"); code > exitBroken {
		t.Fatalf("plan: exit code %d: %s", code, stderr)
	}
	rows := map[string]map[string]float64{}
	for _, path := range []string{"job.toml", "handoff"} {
		code, stdout, stderr := call("measure", path, "--json")
		if code > exitBroken {
			t.Fatalf("measure %s: exit code %d: %s", path, code, stderr)
		}
		var m measurement
		if err := json.Unmarshal([]byte(stdout), &m); err != nil {
			t.Fatal(err)
		}
		rows[path] = map[string]float64{}
		for _, r := range m.Targets[0].Rows {
			rows[path][string(r.Resource)+" "+r.Part] = r.Measured
		}
	}
	for _, row := range []string{"cycles " + budget.SamplingPart, "cycles " + budget.FeaturesPart,
		"flash " + budget.FrontCodePart, "ram " + budget.FrontStatePart} {
		of := rows["handoff"]
		if of[row] <= 0 || of[row] != rows["job.toml"][row] {
			t.Errorf("%s: %v from the handoff, %v from the job", row, of[row],
				rows["job.toml"][row])
		}
	}
}

// What the job names is compiled with, and judged: a limit without an estimate has a verdict then.
// Another compiler than the one that is installed measures nothing.
func TestEmulatedFlagsOfTheJob(t *testing.T) {
	job := flagsJob(t, `flags = "-O3"`)
	dir := filepath.Join(t.TempDir(), "handoff")
	code, stdout, stderr := call("plan", job, "--out", dir, "--measure")
	if code != exitDone || !strings.Contains(stdout, "Verdict: fits") ||
		!strings.Contains(stdout, "arm-none-eabi-gcc 12.2.1 -O3 on cortex-m4f") {
		t.Errorf("exit code %d, stderr %q\n%s", code, stderr, stdout)
	}
	code, stdout, stderr = call("measure", dir, "--target", "cortex-m4f", "--json")
	if code != exitDone || !strings.Contains(stdout, `"optimise": "-O3"`) ||
		!strings.Contains(stdout, `"estimate_kind": "no estimate"`) ||
		strings.Contains(stdout, `"estimate_kind": "measured"`) {
		t.Errorf("exit code %d, stderr %q\n%s", code, stderr, stdout)
	}
	for keys, want := range map[string]string{
		`compiler = "GCC 10.3"`: "the job names GCC 10.3, and what is installed is " +
			"arm-none-eabi-gcc 12.2.1",
		`flags = "-O2 -flto"`: "with -flto code is made when firmware is linked",
	} {
		for _, verb := range []string{"plan --measure", "measure"} {
			args := append(strings.Fields(verb), flagsJob(t, keys))
			code, stdout, stderr := call(args...)
			if code != exitInput || stdout != "" || !strings.Contains(stderr, want) {
				t.Errorf("%s: exit code %d, stdout %q, stderr %q", args, code, stdout, stderr)
			}
		}
	}
}
