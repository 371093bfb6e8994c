package smallest

import (
	"math/rand/v2"

	"kerf/model"
)

// phases tells the part of the work cycle, five of them, and whether the oil holds air: ten
// classes. Behind them lie two pressures to be read out of noise, and the air.
var phases = &Job{
	Name:    "phases",
	seed:    42_000,
	seconds: 0.1,
	epochs:  50,
	layers:  []layer{{model.GRUResetAfter, 16}, {model.GRUResetAfter, 16}},
	sensors: []sensor{
		{"supply_level", "supply", "level", "bar"},
		{"supply_slope", "supply", "slope", "bar/s"},
		{"rod_level", "rod", "level", "bar"},
		{"return_level", "return", "level", "bar"},
		{"return_slope", "return", "slope", "bar/s"},
		{"case_drain_level", "case_drain", "level", "bar"},
		{"suction_level", "suction", "level", "bar"},
		{"supply_ripple", "supply", "ripple_amplitude", "bar"},
		{"return_ripple", "return", "ripple_amplitude", "bar"},
		{"case_drain_ripple", "case_drain", "ripple_amplitude", "bar"},
		{"motor_current", "motor", "current", "A"},
		{"oil_temperature", "oil", "level", "degC"},
	},
	column: "class",
	classes: []string{"rest", "approach", "split", "press", "retract",
		"rest_air", "approach_air", "split_air", "press_air", "retract_air"},
	wrong: 0.02,
	start: func(d duty, random *rand.Rand) machine {
		return &suction{powerUnit: newPowerUnit(d, random), air: span{0.5, 4}.draw(random)}
	},
}

// suction is the machine with a suction line that draws air at times; one step is 100 ms.
type suction struct {
	*powerUnit
	dipFor int     // steps until the suction line is tight again
	air    float64 // % by volume, entrained in the oil
	before float64 // L/min, flow at the last step
}

// Air above this share counts as aerated oil, in % by volume.
const aerated = 6

// step implements [machine]. Air comes and goes with a lag:
//
//	d air/dt = (12 - air)/40 while the suction line draws, else (1 - air)/40
func (s *suction) step(x, y []float64) {
	s.before = s.flow
	s.powerUnit.step()
	if s.dipFor > 0 {
		s.dipFor--
	} else if s.random.Float64() < s.dip {
		s.dipFor = int(span{30, 110}.draw(s.random))
	}
	drawn := 1.0
	if s.dipFor > 0 {
		drawn = 12
	}
	s.air += (drawn - s.air) / 40
	bubbles := 1 + float64(0.05*s.air) // noise of pressures grows with air
	rod := 2 + float64(0.1*s.pressure)
	if s.part == retracting {
		rod = s.pressure
	}
	copy(x, []float64{
		max(0, s.near(s.pressure, 3.5*bubbles)),
		s.near(s.slope, 5*bubbles),
		max(0, s.near(rod, 1.8*bubbles)),
		s.near(0.8+float64(0.03*s.flow), 0.1*bubbles),
		s.near(float64(0.03*(s.flow-s.before)), 0.14*bubbles),
		max(0, s.near(0.3+float64(0.004*s.pressure), 0.06*bubbles)),
		s.near(-0.05-float64(0.004*s.flow)-float64(0.015*s.air), 0.03),
		max(0, s.near(0.6+float64(0.01*s.pressure)-float64(0.04*s.air), 0.14)),
		max(0, s.near(0.1+float64(0.003*s.flow)+float64(0.02*s.air), 0.035)),
		max(0, s.near(0.05+float64(0.01*s.air), 0.02)),
		s.near(4+float64(0.045*s.pressure), 0.5),
		s.near(s.oilHeat, 0.6),
	})
	class := int(s.part)
	if s.air > aerated {
		class += 5
	}
	y[class] = 1
}
