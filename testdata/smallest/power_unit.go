package smallest

import (
	"math/rand/v2"

	"kerf/portable"
)

// span is a range from which a value is drawn, evenly.
type span struct{ low, high float64 }

// draw draws a value of the range.
func (s span) draw(random *rand.Rand) float64 {
	return s.low + float64((s.high-s.low)*random.Float64())
}

// duty is one way to operate the machine, a scenario of the recordings.
type duty struct {
	name                           string
	rest, approach, split, retract span // lengths of the parts of a work cycle, steps
	peak                           span // supply pressure while splitting, bar
	// chance that a log is not through and the ram presses on
	stuck float64
	oil   span    // oil at the first step, degC
	warm  float64 // degC towards which the oil tends
	// chance per step that the suction line begins to draw air
	dip float64
}

// duties are the scenarios of the machine.
var duties = []duty{
	{"warm_up", span{10, 40}, span{20, 40}, span{25, 45}, span{18, 34}, span{60, 140}, 0.15,
		span{4, 16}, 45, 0.006},
	{"steady_splitting", span{3, 10}, span{10, 20}, span{18, 40}, span{10, 20}, span{110, 205}, 0.2,
		span{38, 58}, 56, 0.008},
	{"fast_cycling", span{2, 5}, span{6, 12}, span{7, 14}, span{6, 12}, span{90, 200}, 0.1,
		span{44, 62}, 64, 0.012},
	{"hard_wood", span{4, 12}, span{10, 20}, span{22, 45}, span{10, 20}, span{150, 215}, 0.6,
		span{36, 56}, 60, 0.008},
}

// part is a part of a work cycle.
type part int

const (
	resting part = iota
	approaching
	splitting
	pressing // against a log that does not give way
	retracting
)

// powerUnit is the true state of the machine as far as all jobs share it.
type powerUnit struct {
	duty
	random *rand.Rand

	part part
	left int     // steps until the next part
	load float64 // bar, supply pressure that the part asks for
	ask  float64 // L/min, flow that the part asks for

	pressure float64 // bar, supply pressure
	slope    float64 // bar, its change over the last step
	flow     float64 // L/min, flow to the ram and back
	oilHeat  float64 // degC, temperature of the oil
}

// newPowerUnit draws a machine at the start of a sequence.
func newPowerUnit(d duty, random *rand.Rand) *powerUnit {
	u := &powerUnit{duty: d, random: random, part: retracting, pressure: 12, flow: 2,
		oilHeat: d.oil.draw(random)}
	u.next()
	return u
}

// next begins the next part of the work cycle.
func (u *powerUnit) next() {
	switch {
	case u.part == resting:
		u.begin(approaching, u.approach, span{25, 45}, 38)
	case u.part == approaching:
		u.begin(splitting, u.split, u.peak, 16)
	case u.part == splitting && u.random.Float64() < u.stuck:
		u.begin(pressing, span{8, 30}, span{218, 236}, 1.5)
	case u.part == retracting:
		u.begin(resting, u.rest, span{10, 15}, 2)
	default:
		u.begin(retracting, u.retract, span{18, 30}, 44)
	}
}

// begin begins a part with lengths and loads from the given ranges.
func (u *powerUnit) begin(p part, length, load span, ask float64) {
	u.part, u.ask = p, ask
	u.left = int(length.draw(u.random))
	u.load = load.draw(u.random)
}

// step advances the machine by one step.
func (u *powerUnit) step() {
	if u.left <= 0 {
		u.next()
	}
	u.left--
	load := u.load
	if u.part == splitting { // fibres give way unevenly
		load += float64(0.06 * load * portable.Normal(u.random))
	}
	u.slope = (load - u.pressure) / 3
	u.pressure += u.slope
	u.flow += float64((u.ask - u.flow) / 2) // compiled as a product
	u.oilHeat += (u.warm + float64(0.04*u.pressure) - u.oilHeat) / 500
}

// noise draws an error of the given standard deviation.
func (u *powerUnit) noise(deviation float64) float64 {
	return float64(deviation * portable.Normal(u.random))
}

// near returns a reading of a value with an error of the given standard deviation.
func (u *powerUnit) near(value, deviation float64) float64 {
	return value + u.noise(deviation)
}

// gauge returns the reading of a pressure gauge, which shows nothing below 0: its error grows with
// the pressure by the given share.
func (u *powerUnit) gauge(pressure, share float64) float64 {
	return max(0, u.near(pressure, 1+float64(share*pressure)))
}
