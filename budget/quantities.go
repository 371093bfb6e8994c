package budget

import "kerf/targets"

// The quantities of a job file.
type (
	Bytes    = targets.Bytes
	Seconds  = targets.Seconds
	Span     = targets.Span
	Hertz    = targets.Hertz
	Percent  = targets.Percent
	Amperes  = targets.Amperes
	Volts    = targets.Volts
	Joules   = targets.Joules
	Coulombs = targets.Coulombs
)
