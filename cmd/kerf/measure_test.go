package main

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/exporter/report"
	"kerf/targets"
	"kerf/targets/measure"
)

// A machine without the compiler: bad input, with the Debian package, and nothing on stdout.
func TestMeasureNamesTheMissingPackage(t *testing.T) {
	_, dir := cityHandoff(t)
	t.Setenv("PATH", t.TempDir())
	code, stdout, stderr := call("measure", dir, "--target", "cortex-m4f")
	if code != exitInput || stdout != "" ||
		!strings.Contains(stderr, "kerf: error: cortex-m4f: arm-none-eabi-gcc is not "+
			"installed\nkerf: hint: install the Debian package gcc-arm-none-eabi\n") {
		t.Errorf("exit code %d, stdout %q, stderr %q", code, stdout, stderr)
	}
}

// The tools are looked for before the work begins, and a run without them leaves no folder.
func TestPlanMeasureNamesTheMissingPackage(t *testing.T) {
	job := cityJob(t, func(job string) string { return job })
	for _, verb := range []string{"plan", "export"} {
		out := filepath.Join(t.TempDir(), "handoff")
		t.Setenv("PATH", t.TempDir())
		code, stdout, stderr := call(verb, job, "--out", out, "--measure")
		if code != exitInput || stdout != "" ||
			!strings.Contains(stderr, "arm-none-eabi-gcc is not installed\nkerf: hint: install "+
				"the Debian package gcc-arm-none-eabi\n") {
			t.Errorf("%s: exit code %d, stdout %q, stderr %q", verb, code, stdout, stderr)
		}
		if _, err := os.Stat(out); err == nil {
			t.Errorf("%s left %s", verb, out)
		}
	}
}

// The network alone is compared with the estimate less the declared front end; limits are on both
// together.
func TestMeasuredBesideEstimate(t *testing.T) {
	limit := func(v float64) *float64 { return &v }
	p, err := targets.Load("cortex-m4f")
	if err != nil {
		t.Fatal(err)
	}
	rows := []report.CostRow{
		{Resource: budget.Flash, Part: "front_end", Value: 1000, Kind: "estimated"},
		{Resource: budget.Flash, Part: budget.Total, Value: 3000, Kind: "estimated",
			Limit: limit(3050)},
		{Resource: budget.RAM, Part: "state", Value: 26, Kind: "exact"},
		{Resource: budget.RAM, Part: "front_end", Value: 4, Kind: "estimated"},
		{Resource: budget.RAM, Part: budget.Total, Value: 30, Kind: "estimated", Limit: limit(30)},
		{Resource: budget.Stack, Part: budget.Total, Value: 116, Kind: "bounded"},
		{Resource: budget.Cycles, Part: "front_end", Value: 6000, Kind: "estimated"},
		{Resource: budget.Cycles, Part: budget.Total, Value: 16000, Kind: "estimated"},
		{Resource: budget.StepTime, Part: budget.Total, Value: 16000 / 64e6, Kind: "estimated",
			Limit: limit(1e-3)},
	}
	s := subject{target: "board", profile: p, estimate: estimates(&report.Signoff{Cost: rows})}
	for i := range s.estimate {
		s.estimate[i].Target = s.target
	}
	m := compareWithEstimate(s,
		&measure.Result{Flash: 2100, RAM: 26, StackChain: 108, StackPainted: 104,
			Cycles:  []float64{9000, 10500},
			Longest: &measure.LongestStep{Cycles: 11000, Steps: 64}}, "")
	type figures struct {
		resource                     budget.Resource
		part                         string
		estimate, measured, distance float64
		estimateKind                 budget.Kind
		verdict                      budget.Verdict
	}
	want := []figures{
		{"flash", "network", 2000, 2100, 100, "estimated", ""},
		{"flash", "total", 3000, 3100, 100, "estimated", "fail"}, // 2100 + 1000 is above 3050
		{"ram", "network", 26, 26, 0, "exact", ""},
		{"ram", "total", 30, 30, 0, "estimated", "pass"},
		{"stack", "network", 116, 108, -8, "bounded", ""},
		{"stack", "painted", math.NaN(), 104, math.NaN(), "", ""},
		{"cycles", "network", 10000, 11000, 1000, "estimated", ""},
		{"cycles", "total", 16000, 17000, 1000, "estimated", ""},
		{"step_time", "network", 10000 / 64e6, 11000 / 64e6, 1000 / 64e6, "estimated", ""},
		{"step_time", "total", 16000 / 64e6, 17000 / 64e6, 1000 / 64e6, "estimated", "pass"},
	}
	if len(m.Rows) != len(want) {
		t.Fatalf("%d rows, want %d: %+v", len(m.Rows), len(want), m.Rows)
	}
	near := func(got *float64, want float64) bool {
		if got == nil {
			return math.IsNaN(want)
		}
		return math.Abs(*got-want) <= 1e-9*math.Abs(want)
	}
	for i, w := range want {
		r := m.Rows[i]
		if r.Resource != w.resource || r.Part != w.part || r.Verdict != w.verdict ||
			r.EstimateKind != w.estimateKind || !near(r.Estimate, w.estimate) ||
			!near(&r.Measured, w.measured) || !near(r.Difference, w.distance) {
			t.Errorf("row %d: %+v, want %+v", i, r, w)
		}
	}
	if all := (&measurement{Targets: []measuredTarget{m}}); !all.isBroken() {
		t.Error("a broken limit was not noticed")
	}
	if m.MinCycles != 9000 || m.MeanCycles != 9750 || m.MaxCycles != 10500 || m.Found != 11000 ||
		!strings.Contains(m.origin(), "2 steps on drawn inputs take 9000 to 10500 cycles, on "+
			"average 9750; of 64 steps of a search for bad inputs the longest takes 11000") {
		t.Errorf("%v to %v cycles: %s", m.MinCycles, m.MaxCycles, m.origin())
	}
}

// C that somebody changed is not compiled, let alone run: by semihosting an emulated program can
// run commands here.
func TestForeignCIsNotRun(t *testing.T) {
	_, dir := cityHandoff(t)
	file := filepath.Join(dir, "cityweather.c")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	rewrite(t, file, append(text, '\n'))
	code, _, stderr := call("measure", dir, "--target", "cortex-m4f")
	if code != exitInput || !strings.Contains(stderr, "the C is not what this kerf writes") ||
		!strings.Contains(stderr, "kerf verify "+dir) {
		t.Errorf("exit code %d: %s", code, stderr)
	}
}
