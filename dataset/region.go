package dataset

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
