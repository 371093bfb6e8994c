package targets

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"kerf/fault"
)

// ownPart is a user's profile of a part. The figures are invented.
func ownPart(t testing.TB) string {
	head, costs, _ := strings.Cut(ownProfile(t), "[cost]")
	return head + `max_clock = "48 MHz"
flash = "64 KiB"
ram = "8 KiB"

[power]
active = { current = "0.4 mA", source = "bench of 3 May", quality = "own measurement" }
active_per_mhz = { current = "60 uA", source = "bench of 3 May", quality = "own measurement" }
sleep = { current = "2 uA", source = "bench of 3 May", quality = "own measurement" }
voltage = { voltage = "3.3 V", source = "schematic", quality = "own measurement" }

[[flash_wait]]
up_to = "24 MHz"
source = "bench of 3 May"
quality = "own measurement"

[[flash_wait]]
up_to = "48 MHz"
fetch = 0.25
jump = 1
data = 2
source = "bench of 3 May"
quality = "own measurement"

[cost]` + costs
}

func TestPart(t *testing.T) {
	p, err := Parse([]byte(ownPart(t)), "part.toml")
	if err != nil {
		t.Fatal(err)
	}
	if *p.MaxClock != 48e6 || *p.Flash != 64<<10 || *p.RAM != 8<<10 || p.Power.Voltage.Voltage !=
		3.3 || p.Power.Sleep.Current != 2e-6 {
		t.Errorf("read as %+v", p)
	}
	// 0.4 mA and 32 times 60 uA are 2.32 mA.
	if active, ok := p.Power.ActiveAt(32e6); !ok || active < 2.3199e-3 || active > 2.3201e-3 {
		t.Errorf("active current at 32 MHz is %g A", active)
	}
	if _, ok := load(t, "cortex-m4f").Power.ActiveAt(1e6); ok {
		t.Error("a built-in profile knows a current")
	}
	for clock, want := range map[float64]float64{1e6: 0, 24e6: 0, 24.1e6: 2, 48e6: 2} {
		if w, ok := p.WaitAt(clock); !ok || w.Data != want {
			t.Errorf("at %g Hz a constant waits %g cycles, want %g", clock, w.Data, want)
		}
	}
	if _, ok := p.WaitAt(49e6); ok {
		t.Error("wait states are known above the last range")
	}
}

// A loop of two loads of constants, multiply, add, compare and branch by hand: the profile gives 2
// + 2 + 1 + 1 + 1 + 2 = 9 cycles. Flash adds 0.25 to each of the 6 instructions, 1 to the branch
// and 2 to each constant: 15.5. With the constants in RAM it adds 2.5: 11.5.
func TestWithMemory(t *testing.T) {
	p, err := Parse([]byte(strings.Replace(ownPart(t), "mul = { cycles = 32,",
		"mul = { cycles = 1,", 1)), "part.toml")
	if err != nil {
		t.Fatal(err)
	}
	loop := count{"load_flash": 2, "mul": 1, "alu": 2, "branch_taken": 1}
	slow, _ := p.WaitAt(48e6)
	for _, tt := range []struct {
		wait  FlashWait
		inRAM bool
		want  float64
	}{{FlashWait{}, false, 9}, {slow, false, 15.5}, {slow, true, 11.5}, {FlashWait{}, true, 9}} {
		if got := sum(p.WithMemory(tt.wait, tt.inRAM), loop); got != tt.want {
			t.Errorf("with %+v, in RAM %v: %g cycles, want %g", tt.wait, tt.inRAM, got, tt.want)
		}
	}
	if got := sum(p, loop); got != 9 {
		t.Errorf("the profile itself changed: %g cycles", got)
	}
	// PUSH {4 registers} is one instruction on arm and four on avr, which reads constants by LPM in
	// 3 cycles, RAM in 2 (AVR Instruction Set Manual DS40002198).
	push := count{"push_pop_base": 1, "push_pop_each": 4}
	avr := load(t, "avr8")
	if arm, eight := sum(p.WithMemory(slow, false), push)-sum(p, push),
		sum(avr.WithMemory(slow, false), push)-sum(avr, push); arm != 0.25 || eight != 1 {
		t.Errorf("fetching PUSH adds %g cycles on arm, %g on avr", arm, eight)
	}
	if got := avr.WithMemory(FlashWait{}, true).Cycles("load_flash"); got != 2 {
		t.Errorf("a constant in RAM takes %g cycles on avr", got)
	}
}

func TestPartErrors(t *testing.T) {
	own := ownPart(t)
	for _, tt := range []struct{ old, new, want string }{
		{`max_clock = "48 MHz"`, `max_clock = "0 MHz"`,
			"part.toml:16:13: a clock of 0 runs nothing"},
		{`max_clock = "48 MHz"`, `max_clock = 48`, `part.toml:16:13: max_clock: "48": the unit ` +
			`is missing`},
		{`max_clock = "48 MHz"`, `max_clok = "48 MHz"`, `part.toml:16:1: unknown key "max_clok"`},
		{`max_clock = "48 MHz"`, `max_clock = "80 MHz"`, "part.toml:32:9: the wait states end " +
			"at 48 MHz, below max_clock"},
		{`flash = "64 KiB"`, `flash = "48 B"`, "part.toml:17:9: flash of 48 bytes is smaller " +
			"than the vector table, which takes 64"},
		{`ram = "8 KiB"`, `ram = "0 B"`, "part.toml:18:7: a part without RAM runs nothing"},
		{`current = "2 uA", source = "bench of 3 May"`, `current = "2 uA", source = ""`,
			"part.toml:23:38: power.sleep has no source"},
		{`current = "2 uA"`, `current = "-2 uA"`, `part.toml:23:21: power.sleep.current: "-2 ` +
			`uA": a current here cannot be negative`},
		{`voltage = "3.3 V"`, `voltage = "0 V"`, "part.toml:24:23: the voltage is 0 or missing"},
		{`jump = 1`, `jump = -1`, "part.toml:34:8: jump must be zero or more and finite, not -1"},
		{`fetch = 0.25`, `fetch = nan`, "part.toml:33:9: fetch must be zero or more and finite, " +
			"not NaN"},
		{`up_to = "24 MHz"`, `up_to = "50 MHz"`, "part.toml:32:9: up_to of 48 MHz is not " +
			"above 50 MHz"},
	} {
		if strings.Count(own, tt.old) != 1 {
			t.Fatalf("%q is there %d times", tt.old, strings.Count(own, tt.old))
		}
		_, err := Parse([]byte(strings.Replace(own, tt.old, tt.new, 1)), "part.toml")
		var e *fault.Error
		if !errors.As(err, &e) || e.Error() != tt.want || e.Hint == "" {
			t.Errorf("%s: error %v, want %s", tt.new, err, tt.want)
		}
	}
}

// 1 h is 3600 s and 1 d 86400 s (The International System of Units, 9th edition, table 8).
func TestLongQuantities(t *testing.T) {
	for _, tt := range []struct {
		text  string
		parse func(string) (float64, error)
		want  float64
	}{
		{"230 mAh", ParseCoulombs, 828}, {"1 Ah", ParseCoulombs, 3600},
		{"400 d", ParseSpan, 34560000}, {"2 h", ParseSpan, 7200},
		{"5 s", ParseSpan, 5}, {"3.3 V", ParseVolts, 3.3}, {"20 uJ", ParseJoules, 20e-6},
	} {
		if got, err := tt.parse(tt.text); err != nil || got != tt.want {
			t.Errorf("%q is %g, %v; want %g", tt.text, got, err, tt.want)
		}
	}
	for got, want := range map[string]string{FormatSpan(34560000): "400 d", FormatSpan(7200): "2 h",
		FormatSpan(0.5): "500 ms", FormatAmperes(1.2e-5): "12 uA", FormatJoules(3e-6): "3 uJ"} {
		if got != want {
			t.Errorf("printed %q, want %q", got, want)
		}
	}
}

// Parse reads the same profile from the text that TOML returns.
func TestWrittenProfileIsReadAgain(t *testing.T) {
	part, err := Parse([]byte(ownPart(t)), "part.toml")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range append(Names(), "") {
		p := part
		if name != "" {
			p = load(t, name)
		}
		again, err := Parse(p.TOML(), "again.toml")
		if err != nil {
			t.Fatalf("%v\n%s", err, p.TOML())
		}
		if !reflect.DeepEqual(again, p) {
			t.Errorf("%s: read %+v, want %+v", p.Name, again, p)
		}
	}
}
