package budget

import (
	"fmt"
	"math"
	"slices"

	"kerf/dataset"
)

// known is the first of the currents or voltages that is given; NaN if none is.
func known[T ~float64](job *T, profile float64) float64 {
	if job != nil {
		return float64(*job)
	}
	return profile
}

// activeCurrent is the current in A while a step runs: that of the job, else that of the profile
// at the clock of the target; NaN if neither says.
func (t Target) activeCurrent() float64 {
	profile, ok := t.Core.Power.ActiveAt(float64(t.Clock))
	if !ok {
		profile = math.NaN()
	}
	return known(t.ActiveCurrent, profile)
}

// sleepCurrent is the current in A between two steps; NaN if it is not known.
func (t Target) sleepCurrent() float64 {
	if s := t.Core.Power.Sleep; s != nil {
		return known(t.SleepCurrent, float64(s.Current))
	}
	return known(t.SleepCurrent, math.NaN())
}

// voltage is the supply voltage in V; NaN if it is not known.
func (t Target) voltage() float64 {
	if u := t.Core.Power.Voltage; u != nil {
		return known(t.Voltage, float64(u.Voltage))
	}
	return known(t.Voltage, math.NaN())
}

// Parts of energy and mean current where the job says what conversions take.
const (
	CorePart       = "core"
	ConvertersPart = "converters"
)

// conversions returns the charge in C that the converters of a candidate draw in a step; NaN where
// the job says of no converter what it takes. A channel that no kept feature is computed from is
// not sampled.
func (in *Inputs) conversions(c Candidate) float64 {
	if in.Raw == nil || !slices.ContainsFunc(in.Job.Channels, func(rule ChannelRule) bool {
		_, ok := rule.Converter.charge()
		return ok
	}) {
		return math.NaN()
	}
	sum := 0.0
	for _, i := range in.keptChannels(c) {
		charge, _ := in.Job.Channels[i].Converter.charge()
		sum += float64(float64(in.Job.Raw.Window) * charge)
	}
	return sum
}

// addPower adds what follows from the time in s that a step takes of its period, as far as the
// figures for it are known. conversions is what [Inputs.conversions] returns.
func (s *sheet) addPower(taken, conversions float64) {
	t := s.target
	active, sleep := t.activeCurrent(), t.sleepCurrent()
	period := limitOf(t.Period)
	kind := weaker(Estimated, s.last().Kind)
	if !math.IsNaN(period) {
		s.add(Duty, "", dutyLimit(t), part{Total, taken / period, s.last().Kind})
	}
	if energy := t.voltage() * active * taken; !math.IsNaN(energy) {
		parts := []part{{CorePart, energy, kind}}
		if !math.IsNaN(conversions) {
			parts = append(parts, part{ConvertersPart, t.voltage() * conversions, Estimated})
		}
		s.add(Energy, "J", limitOf(t.Energy), parts...)
	}
	// A step that outlasts the period leaves no time to sleep.
	busy := math.Min(taken/period, 1)
	current := float64(busy*active) + float64((1-busy)*sleep)
	if math.IsNaN(current) {
		return
	}
	parts := []part{{CorePart, current, kind}}
	if !math.IsNaN(conversions) {
		parts = append(parts, part{ConvertersPart, conversions / period, Estimated})
	}
	current = s.add(Current, "A", limitOf(t.AverageCurrent), parts...)
	if t.Battery != nil {
		s.addAtLeast(BatteryLife, "s", limitOf(t.BatteryLife), float64(*t.Battery)/current,
			kind)
	}
}

// dutyLimit is the limit of the job. Where samples are taken, the time of a step leaves out the
// calls of name_sample but the last, so that all of it together has to fit into a period.
func dutyLimit(t Target) float64 {
	if t.Interval > 0 {
		return tighter(t.Duty, 1)
	}
	return limitOf(t.Duty)
}

// warnConverterEnergy says which converters energy and current leave out.
func (r *Result) warnConverterEnergy() {
	if r.Inputs.Raw == nil || !slices.ContainsFunc(r.Costs, func(c Cost) bool {
		return c.Resource == Energy || c.Resource == Current
	}) {
		return
	}
	channels := r.Inputs.keptChannels(r.Chosen.Candidate)
	var without []string
	for _, i := range channels {
		if rule := r.Inputs.Job.Channels[i]; rule.Converter.Time == nil {
			without = append(without, rule.Name)
		}
	}
	switch {
	case len(without) == 0:
	case len(without) == len(channels):
		r.Warnings = append(r.Warnings, "energy and mean current are those of the core: what "+
			"converters and sensors take is left out")
	default:
		r.Warnings = append(r.Warnings, "energy and mean current leave out what converters take "+
			"whose channels name no time and current: "+dataset.ListNames(without))
	}
}

// checkPower refuses limits that cannot be judged, and figures that make no sense.
func (in *Inputs) checkPower(i int, t Target) error {
	needs := map[string]bool{
		"period":         t.Period != nil,
		"active_current": !math.IsNaN(t.activeCurrent()),
		"sleep_current":  !math.IsNaN(t.sleepCurrent()),
		"voltage":        !math.IsNaN(t.voltage()),
		"battery":        t.Battery != nil,
	}
	for _, limit := range []struct {
		key   string
		given bool
		needs []string
	}{
		{"duty", t.Duty != nil, []string{"period"}},
		{"energy", t.Energy != nil, []string{"active_current", "voltage"}},
		{"average_current", t.AverageCurrent != nil,
			[]string{"period", "active_current", "sleep_current"}},
		{"battery_life", t.BatteryLife != nil,
			[]string{"period", "active_current", "sleep_current", "battery"}},
	} {
		for _, key := range limit.needs {
			if limit.given && !needs[key] {
				return in.Job.at(fmt.Sprintf("add %s to the target, or for currents and voltage "+
					"[power] to a profile of your own", key),
					fmt.Sprintf("the limit %s needs %s", limit.key, key), "target", i, limit.key)
			}
		}
	}
	for key, bad := range map[string]bool{
		"period":  t.Period != nil && *t.Period <= 0,
		"voltage": t.Voltage != nil && *t.Voltage <= 0,
		"battery": t.Battery != nil && *t.Battery <= 0,
	} {
		if bad {
			return in.Job.at("leave it out, or write a value above 0", key+" is 0", "target", i,
				key)
		}
	}
	if t.Battery != nil && t.activeCurrent() == 0 {
		return in.Job.at("write the active_current that was measured while a step runs, or "+
			"leave out battery", "no step discharges the battery: the active current is 0",
			"target", i, "battery")
	}
	return nil
}
