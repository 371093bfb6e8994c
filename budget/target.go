package budget

import (
	"fmt"
	"math"

	"kerf/budget/cost"
	"kerf/targets"
)

// TargetRule is one target with its limits; a limit left out is not judged, but what
// the profile says of flash and RAM is a limit too.
type TargetRule struct {
	// The profile names a core; `kerf targets list` shows all. Default: none, where `profile_file`
	// is given; a target has one of the two.
	Profile string `toml:"profile"`

	// This file is a profile of your own. Default: none, where `profile` is given.
	ProfileFile string `toml:"profile_file"`

	// Reports call the target so; two targets have different names. Default: the name of the
	// profile.
	Name string `toml:"name"`

	// Firmware is built with this compiler: its name and version, such as "GCC 12.2.1" or "clang
	// 17.0". Estimates of code, stack and cycles hold for the GCC that the sign-off names, up to
	// the first point of its version. With another one there is no estimate, and limits that need
	// one are judged only where that compiler measures. Default: the one that estimates hold for.
	Compiler string `toml:"compiler"`

	// Firmware is built with these options, as GCC spells them: one that begins with `-O`, and
	// those that begin with `-f` or `-m`. Where they are not those that the estimates hold for, in
	// any order, there is no estimate for them: limits that need one are judged only with `kerf
	// plan --measure`, which compiles with these options. Without an option that begins with `-m`
	// the core is that of the profile. Default: those that estimates hold for.
	Flags string `toml:"flags"`

	// Rows of weights are read by code that is "fast", kernels in assembler, or "small", plain C,
	// which takes less flash and up to three times the cycles; AVR has no small one. Default: fast;
	// where that exceeds the flash, or `objective` is "flash", small if that breaks no more limits.
	Code cost.Form `toml:"code"`

	// The core runs at this clock. Required.
	Clock Hertz `toml:"clock"`

	// Code, weights, tables and front ends may take this much flash. Default: what the profile has;
	// built-in profiles are cores and have none.
	Flash *Bytes `toml:"flash"`

	// Data (the state, what front ends declare, and weights in RAM) may take this much RAM; the
	// stack is not in it.
	// Default: what the profile has; built-in profiles have none.
	RAM *Bytes `toml:"ram"`

	// The stack of a step may be this large; with samples that of name_sample on top, which
	// interrupts it. Default: not judged.
	Stack *Bytes `toml:"stack"`

	// Data and stack together may take this much RAM. Default: not judged.
	RAMTotal *Bytes `toml:"ram_total"`

	// A step may take so many cycles. Default: not judged.
	Cycles *float64 `toml:"cycles"`

	// A step may take this time; with samples from the last one of the window to the outputs.
	// Default: `period`.
	StepTime *Seconds `toml:"step_time"`

	// This is the time between two steps; no step may take longer. Default: `period` of `[raw]`;
	// without samples not known, and duty and mean current are not computed.
	Period *Seconds `toml:"period"`

	// Flash adds these cycles at the clock of the target. Default: what the profile has; built-in
	// profiles have none.
	FlashWait *WaitRule `toml:"flash_wait"`

	// Weights and tables are read from "flash", or from "ram", where they are copied at start.
	// Default: "flash".
	WeightsIn string `toml:"weights_in"`

	// Your part and board draw this current while a step runs. Default: what the profile has;
	// built-in profiles have none.
	ActiveCurrent *Amperes `toml:"active_current"`

	// Your part and board draw this current between two steps. Default: what the profile has;
	// built-in profiles have none.
	SleepCurrent *Amperes `toml:"sleep_current"`

	// This is the supply voltage. Default: what the profile has; built-in profiles have none.
	Voltage *Volts `toml:"voltage"`

	// This is the capacity of the battery; nothing else discharges it. Default: no battery.
	Battery *Coulombs `toml:"battery"`

	// A step may take this share of the period. Default: with samples 100 %, which no other value
	// exceeds, since `step_time` leaves out what is done while samples are taken; else not judged.
	Duty *Percent `toml:"duty"`

	// A step may take this energy, while it runs; with conversions where `[channel.converter]` says
	// what these take. Default: not judged.
	Energy *Joules `toml:"energy"`

	// The mean current over a period may be this large. Default: not judged.
	AverageCurrent *Amperes `toml:"average_current"`

	// The battery must last at least so long. Default: not judged.
	BatteryLife *Span `toml:"battery_life"`

	// The longest call of name_sample, which runs in an interrupt, may take so many cycles.
	// Default: not judged.
	Interrupt *float64 `toml:"interrupt"`

	// It may take this time. Default: the time between two samples of a window, which no other
	// value exceeds.
	InterruptTime *Seconds `toml:"interrupt_time"`

	// Features may be ready this time after the last sample of a window. Default: the time until
	// the first sample of the next window, which no other value exceeds.
	FeaturesTime *Seconds `toml:"features_time"`
}

func (j *Job) checkTarget(i int, t TargetRule) error {
	if (t.Profile == "") == (t.ProfileFile == "") {
		return j.at(`profile = "cortex-m4f", or profile_file = "my-core.toml"; kerf targets `+
			`lists the profiles`, "a target needs a profile or a profile_file, and not both",
			"target", i)
	}
	if t.Clock <= 0 {
		return j.at(`for example clock = "64 MHz"`, "the target has no clock, or a clock of 0",
			"target", i, "clock")
	}
	if c := t.Cycles; c != nil && !(*c >= 0 && *c <= targets.MostCycles) {
		return j.at("the most cycles that a step may take",
			fmt.Sprintf("%g cycles are no limit", *c), "target", i, "cycles")
	}
	if c := t.Interrupt; c != nil && !(*c > 0 && *c <= targets.MostCycles) {
		return j.at("the most cycles that a call of name_sample may take",
			fmt.Sprintf("%g cycles are no limit", *c), "target", i, "interrupt")
	}
	return nil
}

// checkSampling holds a target against what the job says of samples.
func (in *Inputs) checkSampling(i int, t Target) error {
	raw := in.Job.Raw
	for _, limit := range []struct {
		key         string
		given, none bool
	}{{"interrupt", t.Interrupt != nil, false},
		{"interrupt_time", t.InterruptTime != nil, t.InterruptTime != nil && *t.InterruptTime <= 0},
		{"features_time", t.FeaturesTime != nil, t.FeaturesTime != nil && *t.FeaturesTime <= 0}} {
		switch {
		case limit.given && raw == nil:
			return in.Job.at("add [raw] with the recordings of samples, or remove the limit",
				fmt.Sprintf("the limit %s needs samples", limit.key), "target", i, limit.key)
		case limit.none:
			return in.Job.at("leave it out, or write a time above 0", limit.key+" is 0, which "+
				"nothing keeps", "target", i, limit.key)
		}
	}
	if raw == nil {
		return nil
	}
	if apart := math.Abs(float64(*t.Period - raw.Period)); apart > 1e-9*float64(raw.Period) {
		return in.Job.at("leave it out: with samples it is the period of [raw]",
			fmt.Sprintf("a step begins every %g s here, and every %g s in [raw]",
				float64(*t.Period), float64(raw.Period)), "target", i, "period")
	}
	return nil
}
