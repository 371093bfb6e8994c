package dataset

import (
	"fmt"
	"slices"
	"strings"
)

// Region is a named part of the output space: the steps whose reference values
// meet every condition.
type Region struct {
	Name       string
	Conditions []Condition
}

// Condition bounds one output. Indices count outputs in the order of the
// network; values are in physical units.
type Condition struct {
	Output int
	Min    *float64 // at least this
	Max    *float64 // at most this
	Below  *int     // less than the value of this other output, at the same step
	Above  *int     // more than the value of this other output, at the same step
}

// Describe says what the region is; outputs are their names.
func (r Region) Describe(outputs []string) string {
	var all []string
	for _, c := range r.Conditions {
		name := outputs[c.Output]
		if c.Min != nil {
			all = append(all, fmt.Sprintf("%s at least %g", name, *c.Min))
		}
		if c.Max != nil {
			all = append(all, fmt.Sprintf("%s at most %g", name, *c.Max))
		}
		if c.Below != nil {
			all = append(all, name+" below "+outputs[*c.Below])
		}
		if c.Above != nil {
			all = append(all, name+" above "+outputs[*c.Above])
		}
	}
	slices.Sort(all)
	return strings.Join(all, ", ")
}

// Contains tells whether a step with reference outputs y belongs to the region.
func (r Region) Contains(y []float64) bool {
	for _, c := range r.Conditions {
		v := y[c.Output]
		switch {
		case c.Min != nil && v < *c.Min,
			c.Max != nil && v > *c.Max,
			c.Below != nil && v >= y[*c.Below],
			c.Above != nil && v <= y[*c.Above]:
			return false
		}
	}
	return true
}
