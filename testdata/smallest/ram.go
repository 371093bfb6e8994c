package smallest

import (
	"math/rand/v2"

	"kerf/model"
)

// ram tells how fast the ram moves and how hard it presses. Two states lie behind the outputs, and
// both forget within some ten steps.
var ram = &Job{
	Name:    "ram",
	seed:    44_000,
	seconds: 0.1,
	epochs:  400,
	layers:  []layer{{model.ElmanTanh, 18}},
	sensors: []sensor{
		{"valve_command", "valve", "command", "%"},
		{"valve_current", "valve", "current", "A"},
		{"spool_position", "valve", "position", "mm"},
		{"supply_level", "supply", "level", "bar"},
		{"gauge_level", "gauge", "level", "bar"},
		{"cap_level", "cap", "level", "bar"},
		{"cap_gauge_level", "cap", "gauge", "bar"},
		{"rod_level", "rod", "level", "bar"},
		{"rod_gauge_level", "rod", "gauge", "bar"},
		{"return_level", "return", "level", "bar"},
		{"pump_flow", "pump", "flow", "L/min"},
		{"motor_current", "motor", "current", "A"},
		{"oil_temperature", "oil", "level", "degC"},
		{"tank_temperature", "oil", "tank", "degC"},
	},
	quantities: []quantity{
		{"speed", "mm/s", 16},
		{"force", "kN", 8},
	},
	start: func(d duty, random *rand.Rand) machine {
		return &cylinder{powerUnit: newPowerUnit(d, random)}
	},
}

// cylinder is the ram with its valve; one step is 100 ms.
type cylinder struct {
	*powerUnit
	speed float64 // mm/s
	force float64 // kN
}

// commands are the openings of the valve in the parts of a work cycle, positive to push.
var commands = map[part]float64{resting: 0, approaching: 1, splitting: 0.8, pressing: 0.8,
	retracting: -1}

// step implements [machine]. Speed and force follow what valve and pressures ask for with a lag:
//
//	goal = 5.5 mm/s per L/min times the opening of the valve
//	d speed/dt = (goal - speed)/6
//	d force/dt = (0.95 cap - 0.6 rod - force)/9   kN, with pressures in bar
func (c *cylinder) step(x, y []float64) {
	c.powerUnit.step()
	command := commands[c.part]
	cap, rod := c.pressure, 2+float64(0.05*c.pressure)
	if command <= 0 {
		cap, rod = rod, cap
	}
	c.speed += (float64(5.5*c.flow*command) - c.speed) / 6
	c.force += (float64(0.95*cap) - float64(0.6*rod) - c.force) / 9
	copy(x, []float64{
		c.near(float64(100*command), 6),
		c.near(1.2+float64(0.8*command), 0.15),
		c.near(float64(4*command), 0.5),
		c.gauge(c.pressure, 0.04),
		c.gauge(c.pressure, 0.07),
		c.gauge(cap, 0.04),
		c.gauge(cap, 0.07),
		c.gauge(rod, 0.04),
		c.gauge(rod, 0.07),
		c.near(0.8+float64(0.03*c.flow), 0.2),
		c.near(c.flow, 3),
		c.near(4+float64(0.045*c.pressure), 0.7),
		c.near(c.oilHeat, 0.6),
		c.near(c.oilHeat-2, 1),
	})
	y[0], y[1] = c.speed, c.force
}
