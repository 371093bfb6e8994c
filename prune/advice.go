package prune

import (
	"fmt"
	"math"
	"strings"
)

const (
	// sameSignal is the correlation from which two units count as carrying one signal: one leaves
	// less than a tenth of the variance of the other unexplained, 1 - 0.95² = 0.0975.
	sameSignal = 0.95
	// idleShare is the share of the largest standard deviation in its layer up to which a unit
	// hardly moves (common practice, no source).
	idleShare = 0.01
	// stuckShare is the share of steps at an end of its range from which a unit is stuck (common
	// practice, no source).
	stuckShare = 0.95
	// response is how far the overlap of a unit with an event must lie above the overlap of a unit
	// that is always on: the threshold of Bau et al. 2017 for a detector.
	response = 0.04
)

// Advice returns sentences on what could be dropped or added, each with its evidence.
func (o *Observed) Advice() []string {
	var advice []string
	say := func(format string, args ...any) {
		advice = append(advice, fmt.Sprintf(format, args...))
	}
	for i, l := range o.Layers {
		where := ""
		if len(o.Layers) > 1 {
			where = fmt.Sprintf(" of layer %d", i)
		}
		say("the %d units%s use %.1f dimensions", len(l.Units), where, l.Dimensions)
		for _, group := range l.Twins() {
			rest := "keep one"
			if len(group.Units) == 2 {
				rest = "drop one"
			}
			say("units %s carry the same signal (correlation of %.2f or more in magnitude); %s",
				l.join(group.Units), group.Correlation, rest)
		}
		if idle, largest := l.idle(); len(idle) > 0 {
			say("hardly moving: %s (standard deviation %.2g or less, the largest%s is %.2g); "+
				"can go", l.units(idle), largest, where, l.largestStd())
		}
		if stuck, least := l.stuck(); len(stuck) > 0 {
			say("at an end of the range on %.0f %% of the steps or more: %s; carries little",
				100*least, l.units(stuck))
		}
	}
	for e, event := range o.Events {
		best, overlap := o.best(e)
		switch {
		case event.Share == 0:
			say("no step of the recordings lies in %s: nothing can be said about it", event.Name)
		case event.Share < 1 && overlap.IoU < event.Share+response:
			say("nothing responds to %s (the best, unit %s, overlaps it by %.2f, a unit that is "+
				"always on by %.2f); consider adding a unit", event.Name, best, overlap.IoU,
				event.Share)
		}
	}
	return advice
}

// best returns the unit whose sign tells an event best, and its overlap.
func (o *Observed) best(event int) (unit string, overlap Overlap) {
	overlap.IoU = -1
	for _, l := range o.Layers {
		for _, u := range l.Units {
			if u.Overlaps[event].IoU > overlap.IoU {
				unit, overlap = u.Name, u.Overlaps[event]
			}
		}
	}
	return unit, overlap
}

// Twins is a group of units of a layer that carry one signal.
type Twins struct {
	Units       []int   // two or more
	Correlation float64 // the least magnitude of a correlation of the first with another
}

// Twins lists near-duplicates: each unit joins the group of the first unit before it with which it
// correlates by 0.95 or more in magnitude, and which joined no other group.
func (l *LayerView) Twins() []Twins {
	var all []Twins
	joined := make([]bool, len(l.Units))
	for i := range l.Units {
		if joined[i] {
			continue
		}
		group := Twins{Units: []int{i}, Correlation: 1}
		for j := i + 1; j < len(l.Units); j++ {
			if c := math.Abs(l.Correlation[i][j]); !joined[j] && c >= sameSignal {
				joined[j] = true
				group.Units, group.Correlation = append(group.Units, j),
					math.Min(group.Correlation, c)
			}
		}
		if len(group.Units) > 1 {
			all = append(all, group)
		}
	}
	return all
}

// largestStd returns the largest standard deviation of a unit.
func (l *LayerView) largestStd() float64 {
	largest := 0.0
	for _, u := range l.Units {
		largest = math.Max(largest, u.Std)
	}
	return largest
}

// idle returns the units that hardly move, and the largest of their standard deviations.
func (l *LayerView) idle() (units []int, largest float64) {
	most := l.largestStd()
	for i, u := range l.Units {
		if u.Std <= idleShare*most {
			units, largest = append(units, i), math.Max(largest, u.Std)
		}
	}
	return units, largest
}

// stuck returns the units at an end of their range, and the least share of steps on which one is
// there.
func (l *LayerView) stuck() (units []int, least float64) {
	least = 1
	for i, u := range l.Units {
		if u.Saturated >= stuckShare {
			units, least = append(units, i), math.Min(least, u.Saturated)
		}
	}
	return units, least
}

// units names units, with the word in singular or plural.
func (l *LayerView) units(indices []int) string {
	if len(indices) == 1 {
		return "unit " + l.join(indices)
	}
	return "units " + l.join(indices)
}

// join lists names as "3, 11 and 14".
func (l *LayerView) join(indices []int) string {
	names := make([]string, len(indices))
	for k, i := range indices {
		names[k] = l.Units[i].Name
	}
	if len(names) == 1 {
		return names[0]
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " and " + names[last]
}
