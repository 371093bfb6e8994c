package dataset

import (
	"fmt"
	"slices"
	"strings"
)

// Region is a named part of the output space: the steps whose reference values meet every
// condition.
type Region struct {
	Name       string
	Conditions []Condition
}

// Condition bounds the reference value of one output at a step. Bounds that are nil do not count.
type Condition struct {
	Output int      // index of the output
	Min    *float64 // least value, in physical units
	Max    *float64 // largest value, in physical units
	Below  *int     // index of another output, whose value must be larger
	Above  *int     // index of another output, whose value must be smaller
}

// Describe returns the conditions in words; outputs are the names of the outputs.
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

// Contains reports whether a step with the reference outputs y belongs to the region.
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
