package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"kerf/budget"
)

// How far estimates are off at most on networks that had no part in their fit, over all cores
// (docs/cost.md; a test compares). A part that is the same in both handoffs is as far off in both,
// so it adds nothing to what is unknown of a change.
const (
	cyclesOff = 0.050 // of the cycles of the network
	codeOff   = 139.0 // B
	stackOff  = 48.0  // B

	frontCyclesOff = 0.117 // of the cycles of what computes features from samples
	frontCodeOff   = 724.0 // B
)

// costChanges pairs the totals of every target.
func costChanges(old, fresh *Signoff) []CostChange {
	changes := []CostChange{}
	for _, c := range fresh.Cost {
		if c.Part != budget.Total {
			continue
		}
		was := old.Total(c.Target, c.Resource)
		if was == nil {
			changes = append(changes,
				CostChange{Target: c.Target, Resource: c.Resource, Unit: c.Unit, New: &c.Value,
					NewLimit: c.Limit, NewVerdict: c.Verdict, Outcome: OnlyNew})
			continue
		}
		changes = append(changes, costChange(old, fresh, *was, c))
	}
	for _, c := range old.Cost {
		if c.Part == budget.Total && fresh.Total(c.Target, c.Resource) == nil {
			changes = append(changes,
				CostChange{Target: c.Target, Resource: c.Resource, Unit: c.Unit, Old: &c.Value,
					OldLimit: c.Limit, OldVerdict: c.Verdict, Outcome: OnlyOld})
		}
	}
	return changes
}

// costChange compares one total of two sign-offs.
func costChange(old, fresh *Signoff, was, now CostRow) CostChange {
	change := now.Value - was.Value
	c := CostChange{
		Target: now.Target, Resource: now.Resource, Unit: now.Unit, Old: &was.Value,
		New: &now.Value, Change: &change, Unknown: unknownOf(old, fresh, was, now),
		OldLimit: was.Limit, NewLimit: now.Limit, OldVerdict: was.Verdict, NewVerdict: now.Verdict,
		Outcome: Same,
	}
	if hadNone := was.Kind == budget.NotEstimated; hadNone != (now.Kind == budget.NotEstimated) {
		// What stands there holds for another compiler.
		if c.Old = nil; !hadNone {
			c.Old, c.New = &was.Value, nil
		}
		c.Change, c.Unknown, c.Outcome = nil, 0, NotComparable
		if verdict := byVerdict(was.Verdict, now.Verdict); verdict != "" &&
			isSameValue(was.Limit, now.Limit) {
			c.Outcome = verdict
		}
		return c
	}
	isBetter := (change < 0) != (now.Resource == budget.BatteryLife)
	verdict := byVerdict(was.Verdict, now.Verdict)
	switch {
	case math.Abs(change) > c.Unknown && isBetter:
		c.Outcome = Better
	case math.Abs(change) > c.Unknown:
		c.Outcome = Worse
	case verdict != "" && isSameValue(was.Limit, now.Limit):
		c.Outcome = verdict
	}
	return c
}

// unknownOf returns how far the change of a total may be off.
func unknownOf(old, fresh *Signoff, was, now CostRow) float64 {
	switch now.Resource {
	case budget.RAM:
		return 0 // exact, but for what the job declares of front ends
	case budget.Flash:
		unknown := ifChanged(old, fresh, now, "code", func(float64) float64 { return codeOff })
		if changed(old, fresh, now, budget.FrontCodePart) > 0 {
			unknown += frontCodeOff
		}
		return unknown
	case budget.Stack, budget.RAMTotal:
		if was.Value == now.Value {
			return 0
		}
		return stackOff
	case budget.Cycles:
		unknown := ifChanged(old, fresh, now, "network", func(larger float64) float64 {
			return cyclesOff * larger
		})
		return unknown + float64(frontCyclesOff*
			changed(old, fresh, now, budget.SamplingPart, budget.FeaturesPart))
	}
	// What follows from the time of a step is off in the same proportion.
	a, b := old.Total(now.Target, budget.Cycles), fresh.Total(now.Target, budget.Cycles)
	if a == nil || b == nil || b.Value == 0 {
		return 0
	}
	return unknownOf(old, fresh, *a, *b) / b.Value * math.Max(was.Value, now.Value)
}

// changed returns the larger sum of some parts of a resource; 0 where each is the same in both, or
// in neither.
func changed(old, fresh *Signoff, row CostRow, parts ...string) float64 {
	var before, after float64
	isSame := true
	for _, part := range parts {
		a, b := old.cost(row.Target, row.Resource, part), fresh.cost(row.Target, row.Resource, part)
		if a != nil {
			before += a.Value
		}
		if b != nil {
			after += b.Value
		}
		isSame = isSame && (a == nil) == (b == nil) && (a == nil || a.Value == b.Value)
	}
	if isSame {
		return 0
	}
	return math.Max(before, after)
}

// ifChanged returns what is unknown of a part, given its larger value; 0 where the part is the same
// in both.
func ifChanged(old, fresh *Signoff, row CostRow, part string,
	unknown func(larger float64) float64) float64 {
	a, b := old.cost(row.Target, row.Resource, part), fresh.cost(row.Target, row.Resource, part)
	if a == nil || b == nil { // a total of one part alone
		a, b = old.Total(row.Target, row.Resource), fresh.Total(row.Target, row.Resource)
	}
	if a.Value == b.Value {
		return 0
	}
	return unknown(math.Max(a.Value, b.Value))
}

// inputChanges lists the input files whose content differs, or that one side has alone.
func inputChanges(old, fresh *Signoff) []InputChange {
	changes := []InputChange{}
	type inputKey struct {
		role budget.Role
		file string
	}
	hashes := func(s *Signoff) map[inputKey]string {
		m := map[inputKey]string{}
		for _, f := range s.Inputs {
			m[inputKey{f.Role, f.File}] = f.SHA256
		}
		return m
	}
	before, after := hashes(old), hashes(fresh)
	for _, f := range fresh.Inputs {
		if was := before[inputKey{f.Role, f.File}]; was != f.SHA256 {
			changes = append(changes, InputChange{f.Role, f.File, was, f.SHA256})
		}
	}
	for _, f := range old.Inputs {
		if _, there := after[inputKey{f.Role, f.File}]; !there {
			changes = append(changes, InputChange{f.Role, f.File, f.SHA256, ""})
		}
	}
	return changes
}

// itemChanges lists the features, units and front ends that one side has alone.
func itemChanges(old, fresh *Signoff) []ItemChange {
	changes := []ItemChange{}
	differ := func(item string, before, after []string) {
		for _, name := range before {
			if !slices.Contains(after, name) {
				changes = append(changes, ItemChange{item, name, "out"})
			}
		}
		for _, name := range after {
			if !slices.Contains(before, name) {
				changes = append(changes, ItemChange{item, name, "in"})
			}
		}
	}
	differ("feature", old.Kept.Features, fresh.Kept.Features)
	differ("unit", unitNames(old.Kept.Units), unitNames(fresh.Kept.Units))
	// dropped before and not now: it is in again
	differ("front_end", fresh.Dropped.FrontEnds, old.Dropped.FrontEnds)
	return changes
}

// unitNames names units as kerf rank does: behind the number of the layer and a point where there
// are several layers.
func unitNames(units [][]int) []string {
	var names []string
	for l, layer := range units {
		for _, u := range layer {
			name := strconv.Itoa(u)
			if len(units) > 1 {
				name = fmt.Sprintf("%d.%d", l, u)
			}
			names = append(names, name)
		}
	}
	return names
}

// formatChanges lists the tensors whose words differ.
func formatChanges(old, fresh *Signoff) []FormatChange {
	changes := []FormatChange{}
	bits := func(s *Signoff, layer, tensor string) int {
		for _, f := range s.Formats {
			if f.Layer == layer && f.Tensor == tensor {
				return f.WordBits
			}
		}
		return 0
	}
	for _, f := range fresh.Formats {
		if was := bits(old, f.Layer, f.Tensor); was != f.WordBits {
			changes = append(changes, FormatChange{f.Layer, f.Tensor, was, f.WordBits})
		}
	}
	for _, f := range old.Formats {
		if bits(fresh, f.Layer, f.Tensor) == 0 {
			changes = append(changes, FormatChange{f.Layer, f.Tensor, f.WordBits, 0})
		}
	}
	return changes
}
