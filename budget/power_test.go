package budget

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/targets"
)

func given[T any](v T) *T { return &v }

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Abs(b) }

// A step of 10 ms in a period of 100 ms, 5 mA at 3 V while it runs and 10 uA between: the duty is
// 10 %, a step takes 3 · 0.005 · 0.01 = 150 uJ, the mean current is 0.1 · 5 mA + 0.9 · 10 uA = 509
// uA, and 509 mAh last 1000 h.
func TestPowerByHand(t *testing.T) {
	in := inputsFor(t, TargetRule{
		Period: given(Seconds(0.1)), ActiveCurrent: given(Amperes(5e-3)),
		SleepCurrent: given(Amperes(10e-6)),
		Voltage:      given(Volts(3)), Battery: given(Coulombs(0.509 * 3600)),
		BatteryLife: given(Span(1001 * 3600)), Duty: given(Percent(0.2)),
	})
	in.Targets[0].Clock = 1e6
	cycles := find(t, in.Costs(in.Whole(small)), Cycles, Total).Value
	in.Targets[0].Clock = Hertz(cycles / 10e-3)
	costs := in.Costs(in.Whole(small))
	for _, c := range []struct {
		resource Resource
		unit     string
		value    float64
		verdict  Verdict
	}{
		{Duty, "", 0.1, Pass}, {Energy, "J", 150e-6, ""}, {Current, "A", 509e-6, ""},
		{BatteryLife, "s", 1000 * 3600, Fail},
	} {
		got := find(t, costs, c.resource, Total)
		if !near(got.Value, c.value) || got.Unit != c.unit || got.Verdict != c.verdict ||
			got.Kind != Estimated {
			t.Errorf("%s is %g %q, %q, %s; want %g %q, %q", c.resource, got.Value, got.Unit,
				got.Verdict, got.Kind, c.value, c.unit, c.verdict)
		}
	}
	life := find(t, costs, BatteryLife, Total)
	if margin := life.Margin(); !near(margin, 1000.0/1001-1) {
		t.Errorf("a battery that lasts 1000 of 1001 h has margin %g", margin)
	}
	in.Targets[0].Period = given(Seconds(1e-6))
	if current := find(t, in.Costs(in.Whole(small)), Current, Total).Value; current != 5e-3 {
		t.Errorf("a step that outlasts the period draws %g A", current)
	}
}

func TestUnknownPowerHasNoRow(t *testing.T) {
	costs := inputsFor(t, TargetRule{Clock: 1e6}).targetCosts(Candidate{Features: []int{0},
		Units: [][]int{{0}}, Formats: small}, inputsFor(t, TargetRule{Clock: 1e6}).Targets[0])
	if slices.ContainsFunc(costs, func(c Cost) bool {
		return slices.Contains([]Resource{Duty, Energy, Current, BatteryLife}, c.Resource)
	}) {
		t.Error("power is estimated without any figure for it")
	}
}

func TestTargetErrors(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{"period", "duty = \"5 %\"\nweights_in = \"rom\"\nperiod",
			`21:14: weights cannot be in "rom"`},
		{"period = \"100 ms\"", "duty = \"5 %\"", "20:8: the limit duty needs period"},
		{"period", "energy = \"5 uJ\"\nperiod", "20:10: the limit energy needs active_current"},
		{"period", "average_current = \"5 uA\"\nactive_current = \"1 mA\"\nperiod",
			"20:19: the limit average_current needs sleep_current"},
		{"period", "battery_life = \"5 d\"\nactive_current = \"1 mA\"\nsleep_current = \"1 " +
			"uA\"\nperiod", "20:16: the limit battery_life needs battery"},
		{"\"100 ms\"", "\"0 ms\"", "20:10: period is 0"},
		{"period", "voltage = \"0 V\"\nperiod", "20:11: voltage is 0"},
		{"period", "battery = \"230 mAh\"\nactive_current = \"0 mA\"\nsleep_current = \"0 " +
			"uA\"\nperiod", "20:11: no step discharges the battery: the active current is 0"},
		{"period", "flash_wait = { jump = -1 }\nperiod", "20:23: -1 cycles make no sense"},
		{"\"24 KiB\"", "\"60 B\"", "17:9: flash of 60 bytes is smaller than the vector table of " +
			"cortex-m4f, which takes 64"},
		{"\"64 MHz\"", "\"0 MHz\"", "16:9: the target has no clock, or a clock of 0"},
		{"period", "batery = \"230 mAh\"\nperiod", `20:1: unknown key "batery" in target`},
	} {
		text := targetsOf(t, goodJob)
		if !strings.Contains(text, c.old) {
			t.Fatalf("no %q in %q", c.old, text)
		}
		path := filepath.Join(t.TempDir(), "job.toml")
		if err := os.WriteFile(path, []byte(strings.Replace(text, c.old, c.new, 1)), 0o644); err !=
			nil {
			t.Fatal(err)
		}
		job, err := ReadJob(path)
		if err == nil {
			err = (loader{&Inputs{Job: job}}).loadTargets()
		}
		if err == nil || !strings.Contains(err.Error(), "job.toml:"+c.want) {
			t.Errorf("%s: error %v, want %s", c.new, err, c.want)
		}
	}
}

// targetsOf is the job without its regions: one target stays.
func targetsOf(t *testing.T, job string) string {
	t.Helper()
	before, _, ok := strings.Cut(job, "[[region]]")
	_, after, found := strings.Cut(job, "[tolerance]")
	if !ok || !found {
		t.Fatal("the job has changed")
	}
	return before + "[tolerance]" + after
}

// A profile of a part: its flash and RAM are limits, its currents count, and no
// target may ask more of it than it has.
func TestTargetOfAPart(t *testing.T) {
	core, err := targets.Load("cortex-m4f")
	if err != nil {
		t.Fatal(err)
	}
	core.MaxClock, core.Flash, core.RAM = given(Hertz(64e6)), given(Bytes(32<<10)),
		given(Bytes(4<<10))
	core.FlashWaits = []targets.FlashWait{{UpTo: 64e6, Data: 1, Source: "bench",
		Quality: "own measurement"}}
	core.Power = targets.Power{Active: &targets.Current{Current: 4e-3, Source: "bench",
		Quality: "own measurement"},
		Voltage: &targets.Voltage{Voltage: 3, Source: "bench", Quality: "own measurement"}}
	load := func(target string) (*Inputs, error) {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "part.toml"), core.TOML(), 0o644); err != nil {
			t.Fatal(err)
		}
		head, _, _ := strings.Cut(goodJob, "[[region]]")
		path := filepath.Join(dir, "job.toml")
		if err := os.WriteFile(path,
			[]byte(head+"[[target]]\nprofile_file = \"part.toml\"\n"+target), 0o644); err != nil {
			t.Fatal(err)
		}
		job, err := ReadJob(path)
		if err != nil {
			t.Fatal(err)
		}
		in := &Inputs{Job: job}
		return in, loader{in}.loadTargets()
	}
	in, err := load("clock = \"32 MHz\"\nenergy = \"5 uJ\"\n")
	if err != nil {
		t.Fatal(err)
	}
	if got := in.Targets[0]; *got.Flash != 32<<10 || *got.RAM != 4<<10 ||
		got.activeCurrent() != 4e-3 || got.voltage() != 3 || got.flashWait().Data != 1 {
		t.Errorf("read as %+v", got)
	}
	for target, want := range map[string]string{
		"clock = \"65 MHz\"\n": "12:9: profile cortex-m4f " +
			"has no flash wait states for 65 MHz",
		"clock = \"65 MHz\"\nflash_wait = {}\n": "12:9: profile cortex-m4f " +
			"runs at 64 MHz at most",
		"clock = \"64 MHz\"\nflash = \"64 KiB\"\n": "13:9: profile cortex-m4f " +
			"has 32 KiB of flash",
		"clock = \"64 MHz\"\nram = \"5 KiB\"\n": "13:7: profile cortex-m4f " +
			"has 4 KiB of ram",
		"clock = \"64 MHz\"\nperiod = \"1 s\"\nbattery = \"0 Ah\"": "14:11: battery is 0",
	} {
		if _, err := load(target); err == nil || !strings.Contains(err.Error(), "job.toml:"+want) {
			t.Errorf("%q: error %v, want %s", target, err, want)
		}
	}
}
