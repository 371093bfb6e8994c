package targets

import (
	"fmt"
	"maps"
	"math"
	"strings"
)

// Power holds the currents and the supply voltage of a part. Every figure may be left out.
type Power struct {
	Active       *Current `toml:"active"`         // while it computes, whatever the clock
	ActivePerMHz *Current `toml:"active_per_mhz"` // while it computes, per MHz; added to Active
	Sleep        *Current `toml:"sleep"`          // between two steps
	Voltage      *Voltage `toml:"voltage"`        // of the supply
}

// Current is an electric current with its source. Quality and Note are as in [Cost].
type Current struct {
	Current Amperes `toml:"current"`
	Source  string  `toml:"source"`
	Quality string  `toml:"quality"`
	Note    string  `toml:"note,omitempty"`
}

// Voltage is a supply voltage with its source. Quality and Note are as in [Cost].
type Voltage struct {
	Voltage Volts  `toml:"voltage"`
	Source  string `toml:"source"`
	Quality string `toml:"quality"`
	Note    string `toml:"note,omitempty"`
}

// ActiveAt returns the current in amperes while the core computes at a clock in hertz. The second
// result is false if the profile names no such current.
func (p Power) ActiveAt(clock float64) (float64, bool) {
	const hertzPerMHz = 1e6
	sum := 0.0
	if p.Active != nil {
		sum += float64(p.Active.Current)
	}
	if p.ActivePerMHz != nil {
		sum += float64(float64(p.ActivePerMHz.Current) * clock / hertzPerMHz)
	}
	return sum, p.Active != nil || p.ActivePerMHz != nil
}

// FlashWait is what flash adds to the cost of instructions at clocks up to UpTo. All three terms
// are means in cycles: waits that a prefetch buffer or a cache hides do not count, so fractions are
// usual.
//
//	cycles of an instruction = cost of its class + Fetch
//	                           + Jump  if it goes elsewhere (taken branch, call, return)
//	                           + Data  if it reads a constant from flash
type FlashWait struct {
	UpTo    Hertz   `toml:"up_to"` // highest clock for which the terms hold
	Fetch   float64 `toml:"fetch"` // cycles added to every instruction
	Jump    float64 `toml:"jump"`  // cycles added to a taken branch, call or return
	Data    float64 `toml:"data"`  // cycles added to a read of a constant from flash
	Source  string  `toml:"source"`
	Quality string  `toml:"quality"` // one of those of [Cost]
	Note    string  `toml:"note,omitempty"`
}

// WaitAt returns the wait states of flash at a clock in hertz, all zero if the profile has none.
// The second result is false if the profile has wait states and the clock is above all of their
// ranges.
func (p *Profile) WaitAt(clock float64) (FlashWait, bool) {
	for _, w := range p.FlashWaits {
		if clock <= float64(w.UpTo) {
			return w, true
		}
	}
	return FlashWait{}, len(p.FlashWaits) == 0
}

// WithMemory returns a copy of the profile whose costs include the wait states of flash. With
// constantsInRAM weights and tables have been copied to RAM at start: a read of one costs a load
// from RAM, without a wait.
func (p *Profile) WithMemory(w FlashWait, constantsInRAM bool) *Profile {
	q := *p
	q.Costs = maps.Clone(p.Costs)
	if constantsInRAM {
		q.Costs["load_flash"] = p.Costs["load"]
		w.Data = 0
	}
	for _, c := range classes {
		cost, ok := q.Costs[c.name]
		if !ok {
			continue
		}
		// A core without an instruction for several registers pushes one register by one, and
		// fetches an instruction for each.
		if !c.isNoFetch || (c.name == "push_pop_each" && p.Costs["push_pop_base"].Cycles == 0) {
			cost.Cycles += w.Fetch
		}
		if c.isJump {
			cost.Cycles += w.Jump
		}
		if c.name == "load_flash" {
			cost.Cycles += w.Data
		}
		q.Costs[c.name] = cost
	}
	if p.Costs["push_pop_base"].Cycles == 0 {
		q.Costs["push_pop_base"] = p.Costs["push_pop_base"]
	}
	return &q
}

// VectorTableBytes returns the least size of the core's vector table at the start of flash, in
// bytes.
func (p *Profile) VectorTableBytes() int64 {
	facts, _ := factsOf(p.ISA)
	return facts.vectors
}

// part checks the fields of a profile about memory, clock and power.
func (v *validator) part(p *Profile) {
	if p.MaxClock != nil {
		v.require(*p.MaxClock > 0, []any{"max_clock"}, `for example max_clock = "64 MHz"`,
			"a clock of 0 runs nothing")
	}
	if p.Flash != nil {
		least := p.VectorTableBytes()
		v.require(int64(*p.Flash) >= least, []any{"flash"}, `for example flash = "256 KiB"`,
			"flash of %d bytes is smaller than the vector table, which takes %d", *p.Flash, least)
	}
	if p.RAM != nil {
		v.require(*p.RAM > 0, []any{"ram"}, `for example ram = "64 KiB"`,
			"a part without RAM runs nothing")
	}
	for _, c := range []struct {
		key     string
		current *Current
	}{{"active", p.Power.Active}, {"active_per_mhz", p.Power.ActivePerMHz},
		{"sleep", p.Power.Sleep}} {
		if c.current != nil {
			v.sourced(c.current.Source, c.current.Quality, "power", c.key)
		}
	}
	if u := p.Power.Voltage; u != nil {
		v.require(u.Voltage > 0, []any{"power", "voltage", "voltage"},
			`for example voltage = "3.3 V"`, "the voltage is 0 or missing")
		v.sourced(u.Source, u.Quality, "power", "voltage")
	}
	above := Hertz(0)
	for i, w := range p.FlashWaits {
		v.require(w.UpTo > above, []any{"flash_wait", i, "up_to"}, "write the ranges from the "+
			"lowest clock to the highest, each with the highest clock it holds for",
			"up_to of %s is not above %s", FormatHertz(float64(w.UpTo)),
			FormatHertz(float64(above)))
		above = w.UpTo
		for _, term := range []struct {
			key    string
			cycles float64
		}{{"fetch", w.Fetch}, {"jump", w.Jump}, {"data", w.Data}} {
			v.require(term.cycles >= 0 && !math.IsInf(term.cycles, 0),
				[]any{"flash_wait", i, term.key}, "write the cycles that flash adds, on average",
				"%s must be zero or more and finite, not %v", term.key, term.cycles)
			v.require(!(term.cycles > MostCycles), []any{"flash_wait", i, term.key},
				"write the cycles that flash adds, on average",
				"%v cycles of %s are more than any step takes", term.cycles, term.key)
		}
		v.sourced(w.Source, w.Quality, "flash_wait", i)
	}
	if p.MaxClock != nil && len(p.FlashWaits) > 0 {
		v.require(above >= *p.MaxClock, []any{"flash_wait", len(p.FlashWaits) - 1, "up_to"},
			"add a range that reaches max_clock",
			"the wait states end at %s, below max_clock", FormatHertz(float64(above)))
	}
}

// sourced requires the figure at path to have a source and a known quality.
func (v *validator) sourced(source, quality string, path ...any) {
	name := make([]string, len(path))
	for i, part := range path {
		name[i] = fmt.Sprint(part)
	}
	at := func(key string) []any { return append(append([]any{}, path...), key) }
	v.require(strings.TrimSpace(source) != "", at("source"), "name the document and table, or "+
		"the measurement", "%s has no source", strings.Join(name, "."))
	v.oneOf(quality, qualities, at("quality")...)
}
