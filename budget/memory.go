package budget

import (
	"fmt"

	"kerf/fault"
	"kerf/targets"
)

// WaitRule is what flash adds to the cost of instructions, in cycles; see [targets.FlashWait].
type WaitRule struct {
	// So many cycles are added to every instruction, on average. Default: 0.
	Fetch float64 `toml:"fetch"`

	// So many cycles are added to every taken branch, call and return, on average. Default: 0.
	Jump float64 `toml:"jump"`

	// So many cycles are added to every weight or table entry that is read from flash, on average.
	// Default: 0.
	Data float64 `toml:"data"`
}

// The places for weights and tables.
const (
	inFlash = "flash"
	inRAM   = "ram" // copied there at start
)

// flashWait is what flash adds at the clock of the target: what the job says, else the profile.
func (t Target) flashWait() targets.FlashWait {
	if w := t.FlashWait; w != nil {
		return targets.FlashWait{Fetch: w.Fetch, Jump: w.Jump, Data: w.Data}
	}
	w, _ := t.Core.WaitAt(float64(t.Clock)) // checked when the job was read
	return w
}

// Placement compares a total with the weights and tables in flash and copied to RAM.
type Placement struct {
	Target   string   `json:"target"`
	Resource Resource `json:"resource"`
	Unit     string   `json:"unit"`
	InFlash  float64  `json:"in_flash"`
	InRAM    float64  `json:"in_ram"`
	Chosen   string   `json:"chosen"` // flash or ram
}

// Placements compares both places for the weights, on the targets where they differ in cycles.
func (in *Inputs) Placements(c Candidate) []Placement {
	var all []Placement
	for _, t := range in.Targets {
		flash := in.formed(c, t)
		ram := flash
		flash.WeightsIn, ram.WeightsIn = inFlash, inRAM
		w := t.flashWait()
		if t.Core.WithMemory(w, false).Cycles("load_flash") ==
			t.Core.WithMemory(w, true).Cycles("load_flash") {
			continue
		}
		copied := totals(in.targetCosts(c, ram))
		for i, row := range totals(in.targetCosts(c, flash)) {
			if row.Resource != Flash && row.Resource != Stack {
				all = append(all, Placement{t.Name, row.Resource, row.Unit, row.Value,
					copied[i].Value, t.weightsPlace()})
			}
		}
	}
	return all
}

// weightsPlace is where the weights are.
func (t Target) weightsPlace() string {
	if t.WeightsIn == inRAM {
		return inRAM
	}
	return inFlash
}

// WeightsInRAM reports whether weights and tables are copied to RAM at start.
func (t Target) WeightsInRAM() bool { return t.weightsPlace() == inRAM }

// totals leaves the parts out.
func totals(rows []Cost) []Cost {
	var all []Cost
	for _, c := range rows {
		if c.Part == Total {
			all = append(all, c)
		}
	}
	return all
}

// checkMemory refuses targets that no part of their profile can be.
func (in *Inputs) checkMemory(i int, t Target) error {
	if t.WeightsIn != "" && t.WeightsIn != inFlash && t.WeightsIn != inRAM {
		return in.Job.at(fault.DidYouMeanOr(t.WeightsIn, []string{inFlash, inRAM},
			`weights_in = "flash", or "ram" if they are copied at start`),
			fmt.Sprintf("weights cannot be in %q", t.WeightsIn), "target", i, "weights_in")
	}
	if w := t.FlashWait; w != nil {
		for key, v := range map[string]float64{"fetch": w.Fetch, "jump": w.Jump, "data": w.Data} {
			if !(v >= 0 && v <= targets.MostCycles) {
				return in.Job.at("cycles that flash adds on average, 0 or more",
					fmt.Sprintf("%g cycles make no sense", v), "target", i, "flash_wait", key)
			}
		}
	} else if _, ok := t.Core.WaitAt(float64(t.Clock)); !ok {
		return in.Job.at("lower the clock, or give flash_wait = { fetch = ..., jump = ..., data "+
			"= ... }", fmt.Sprintf("profile %s has no flash wait states for %s", t.Core.Name,
			targets.FormatHertz(float64(t.Clock))), "target", i, "clock")
	}
	if most := t.Core.MaxClock; most != nil && t.Clock > *most {
		return in.Job.at("lower the clock",
			fmt.Sprintf("profile %s runs at %s at most", t.Core.Name,
				targets.FormatHertz(float64(*most))), "target", i, "clock")
	}
	if least := t.Core.VectorTableBytes(); t.Flash != nil && int64(*t.Flash) < least {
		return in.Job.at(`for example flash = "24 KiB"`,
			fmt.Sprintf("flash of %d bytes is smaller than the vector table of %s, which takes %d",
				*t.Flash, t.Core.Name, least), "target", i, "flash")
	}
	for _, size := range []struct {
		key       string
		limit     *Bytes
		available *targets.Bytes
	}{{"flash", t.Flash, t.Core.Flash}, {"ram", t.RAM, t.Core.RAM},
		{"ram_total", t.RAMTotal, t.Core.RAM}} {
		if size.limit != nil && size.available != nil && *size.limit > *size.available {
			return in.Job.at("lower the limit", fmt.Sprintf("profile %s has %s of %s", t.Core.Name,
				targets.FormatBytes(int64(*size.available)), size.key), "target", i, size.key)
		}
	}
	return nil
}
