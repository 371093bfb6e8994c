package budget

import (
	"fmt"

	"kerf/targets"
)

// TargetRule is one target with its limits; a limit left out is not judged, but what
// the profile says of flash and RAM is a limit too.
type TargetRule struct {
	Profile     string `toml:"profile"`
	ProfileFile string `toml:"profile_file"` // a profile of the user's own instead
	// how reports call it; the profile's name when left out
	Name     string   `toml:"name"`
	Clock    Hertz    `toml:"clock"`
	Flash    *Bytes   `toml:"flash"`
	RAM      *Bytes   `toml:"ram"`
	Stack    *Bytes   `toml:"stack"`
	RAMTotal *Bytes   `toml:"ram_total"` // data and stack together
	Cycles   *float64 `toml:"cycles"`
	StepTime *Seconds `toml:"step_time"`
	Period   *Seconds `toml:"period"` // between two steps; no step may take longer

	FlashWait *WaitRule `toml:"flash_wait"` // instead of that of the profile
	WeightsIn string    `toml:"weights_in"` // flash (default) or ram

	// while a step runs; currents and voltage stand in place of those of the profile
	ActiveCurrent *Amperes  `toml:"active_current"`
	SleepCurrent  *Amperes  `toml:"sleep_current"` // between two steps
	Voltage       *Volts    `toml:"voltage"`
	Battery       *Coulombs `toml:"battery"` // capacity

	Duty           *Percent `toml:"duty"` // share of the period
	Energy         *Joules  `toml:"energy"`
	AverageCurrent *Amperes `toml:"average_current"`
	BatteryLife    *Span    `toml:"battery_life"` // at least
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
	return nil
}
