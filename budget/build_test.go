package budget

import (
	"math"
	"strings"
	"testing"

	"kerf/budget/cost"
	"kerf/fault"
	"kerf/quant"
)

// The build of the estimates, spelled otherwise, changes nothing; another one takes the estimate
// from every figure that a compiler changes, and from nothing else. By hand: 268 B of weights and
// 516 B of tables (TestSizesByHand) and 1,200 B of front ends are 1,984 B of flash, whatever the
// compiler.
func TestFiguresOfAnotherBuild(t *testing.T) {
	limit := func(v int64) *Bytes { b := Bytes(v); return &b }
	cycles, period, current, voltage := 1e6, Seconds(1), Amperes(1e-3), Volts(3)
	energy, duty, sleep, battery, life := Joules(1), Percent(1), Amperes(1e-6), Coulombs(100),
		Span(1)
	rule := TargetRule{Clock: 1e6, Code: cost.Fast, Flash: limit(1984), RAM: limit(128),
		Stack:    limit(10000),
		RAMTotal: limit(10000), Cycles: &cycles, Period: &period, ActiveCurrent: &current,
		Voltage: &voltage, Energy: &energy, Duty: &duty, SleepCurrent: &sleep,
		AverageCurrent: &current, Battery: &battery, BatteryLife: &life}
	plain := inputsFor(t, rule)
	candidate := plain.Whole(small)
	want := plain.Costs(candidate)
	for _, b := range []struct {
		compiler, flags string
		hold            bool
	}{
		{"", "", true},
		{"arm-none-eabi-gcc 12.2.1", "", true},
		{"GCC 12", "-mthumb -Os -mcpu=cortex-m3", true},
		{"GCC 13.1", "", false}, {"clang 17", "", false}, {"", "-O3", false},
		{"", "-Os -mcpu=cortex-m4", false},
	} {
		rule.Compiler, rule.Flags = b.compiler, b.flags
		in := inputsFor(t, rule)
		for i, c := range in.Costs(candidate) {
			w := want[i]
			isSame := c.Kind == w.Kind && c.Verdict == w.Verdict && c.Value == w.Value
			compiled := true
			switch c.Part {
			case Total:
				compiled = c.Resource != RAM
			case "data", "front_end", "weights", "tables", "state":
				compiled = false
			}
			if b.hold || !compiled {
				if !isSame {
					t.Errorf("%+v: %s %s is %+v, want %+v", b, c.Resource, c.Part, c, w)
				}
				continue
			}
			verdict := Verdict("")
			if !math.IsNaN(c.Limit) {
				verdict = NoEstimate
			}
			if c.Kind != NotEstimated || c.Verdict != verdict || c.Value != w.Value {
				t.Errorf("%+v: %s %s is %+v", b, c.Resource, c.Part, c)
			}
		}
	}
	// What no compiler changes is judged by itself.
	rule.Compiler, rule.Flags, rule.Flash = "", "-O3", limit(1983)
	in := inputsFor(t, rule)
	if c := find(t, in.Costs(candidate), Flash, Total); c.Verdict != Fail || c.Known != 1984 {
		t.Errorf("1984 B without the code, of 1983 B: %+v", c)
	}
}

// With a limit that cannot be judged the plan does not fit, and with a broken one it is broken;
// what was measured is judged.
func TestVerdictWithoutAnEstimate(t *testing.T) {
	flash := Bytes(1e6)
	in := inputsFor(t, TargetRule{Clock: 1e6, Flash: &flash, Flags: "-O3"})
	c := in.Whole(small)
	costs := in.Costs(c)
	if got := verdict(nil, costs); got != NoEstimate {
		t.Errorf("verdict %q", got)
	}
	if got := verdict([]Loss{{Verdict: NotEnough}}, costs); got != NotEnough {
		t.Errorf("with too few recordings the verdict is %q", got)
	}
	if got := verdict([]Loss{{Verdict: Fail}}, costs); got != DoesNotFit {
		t.Errorf("with a broken tolerance the verdict is %q", got)
	}
	r := &Result{Inputs: in, Chosen: &Chosen{Candidate: c, Fixed: &quant.Network{}}, Costs: costs}
	r.judge()
	if r.Verdict != NoEstimate {
		t.Errorf("the plan is judged %q", r.Verdict)
	}
	r.warnBuilds()
	if len(r.Warnings) != 1 || !strings.Contains(r.Warnings[0], "the job names GCC 12.2.1 -O3, "+
		"and the estimates of code, stack and cycles hold for GCC 12.2.1 -Os") {
		t.Errorf("warnings %q", r.Warnings)
	}
	r.TakeMeasured([]Measurement{{Target: "cortex-m3", Flash: 1000, RAM: 8, Stack: 100,
		Cycles: 2000}})
	if r.Verdict != Fits {
		t.Errorf("measured, the plan is judged %q: %+v", r.Verdict, r.Costs)
	}
	for _, row := range r.Costs {
		if row.Kind == NotEstimated || !math.IsNaN(row.Estimate) {
			t.Errorf("measured, %s %s is %+v", row.Resource, row.Part, row)
		}
	}
	// Emulated cores do not wait for flash, so waiting stays without an estimate.
	in.Targets[0].FlashWait = &WaitRule{Fetch: 1}
	cycles := 1e6
	in.Targets[0].Cycles = &cycles
	r.TakeMeasured(r.Measured)
	if row := find(t, r.Costs, Cycles, Total); row.Kind != NotEstimated ||
		row.Verdict != NoEstimate || row.Known != 2570 {
		t.Errorf("cycles with flash wait states: %+v", row)
	}
}

// On every other profile the limits are those of the job, and the compiler is not.
func TestOtherProfilesHaveEstimates(t *testing.T) {
	cycles := 1e6
	in := inputsFor(t, TargetRule{Clock: 1e6, Cycles: &cycles, Flags: "-O3"})
	in.Job.FrontEnds = nil
	in.Float.Features[1].FrontEnd, in.Float.Features[2].FrontEnd = "", ""
	in.Float.Features[3].FrontEnd = ""
	all, err := in.RankTargets(in.Whole(small))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range all {
		if isOwn := s.Like == ""; isOwn != (len(s.Unjudged) == 1) || isOwn == s.Fits() {
			t.Errorf("%s: %+v", s.Target.Name, s)
		}
	}
}

// A compiler without a version and options that are none are refused, with place and hint.
func TestRefusedBuilds(t *testing.T) {
	for _, c := range []struct{ line, msg string }{
		{`compiler = "GCC"`, `"GCC" is no compiler with its version`},
		{`compiler = "GCC 12 $(id)"`, `"GCC 12 $(id)" is no compiler with its version`},
		{`flags = " "`, "are not how to optimise"},
		{`flags = "-mthumb"`, "are not how to optimise"},
		{`flags = "-O1 -Os"`, "are not how to optimise"},
		{`flags = "-O1 -Wall"`, "are not how to optimise"},
		{`flags = "-O1 -fplugin=x.so"`, "are not how to optimise"},
		{`flags = "-O1 $(id)"`, "are not how to optimise"},
	} {
		job := &Job{File: "job.toml", data: []byte("[[target]]\n" + c.line + "\n")}
		in := &Inputs{Job: job}
		core := inputsFor(t, TargetRule{}).Targets[0].Core
		target := Target{Core: core}
		if text, found := strings.CutPrefix(c.line, `compiler = "`); found {
			target.Compiler = strings.TrimSuffix(text, `"`)
		} else {
			target.Flags = strings.TrimSuffix(strings.TrimPrefix(c.line, `flags = "`), `"`)
		}
		err := in.checkBuild(0, target)
		if err == nil || !strings.Contains(err.Error(), c.msg) ||
			!strings.Contains(err.Error(), "job.toml:2") || fault.Hint(err) == "" {
			t.Errorf("%s: %v", c.line, err)
		}
	}
}
