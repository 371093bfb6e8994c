package smallest

import (
	"math/rand/v2"

	"kerf/model"
)

// accumulator tells what a gas-charged accumulator beside the pump holds. Three states lie behind
// the outputs.
var accumulator = &Job{
	Name:    "accumulator",
	seed:    43_000,
	seconds: 0.2,
	epochs:  200,
	layers:  []layer{{model.LSTM, 16}},
	sensors: []sensor{
		{"supply_level", "supply", "level", "bar"},
		{"accumulator_level", "accumulator", "level", "bar"},
		{"gauge_level", "gauge", "level", "bar"},
		{"motor_current", "motor", "current", "A"},
		{"pump_voltage", "pump", "voltage", "V"},
		{"valve_current", "valve", "current", "A"},
		{"spool_position", "valve", "position", "mm"},
		{"return_level", "return", "level", "bar"},
		{"shell_temperature", "accumulator", "temperature", "degC"},
		{"oil_temperature", "oil", "level", "degC"},
		{"air_temperature", "surroundings", "level", "degC"},
	},
	quantities: []quantity{
		{"stored", "L", 0.2},
		{"gas_temperature", "degC", 3},
		{"delivery", "L/min", 1.8},
	},
	start: func(d duty, random *rand.Rand) machine { return newGasCharge(d, random) },
}

// gasCharge is the accumulator with its pump; one step is 200 ms.
type gasCharge struct {
	*powerUnit
	air      float64 // degC, of the surroundings
	pumping  bool
	delivery float64 // L/min, of the pump
	stored   float64 // L, oil in the accumulator
	gas      float64 // degC, of the gas
	shell    float64 // degC
}

// Size and charge of the accumulator: litres of gas without oil, and bar at that volume and 20
// degC.
const (
	shellVolume = 10
	precharge   = 90
)

// newGasCharge draws an accumulator that is nearly empty and as warm as the surroundings.
func newGasCharge(d duty, random *rand.Rand) *gasCharge {
	g := &gasCharge{powerUnit: newPowerUnit(d, random), air: span{2, 32}.draw(random), stored: 0.3,
		pumping: true}
	g.gas, g.shell = g.air, g.air
	return g
}

// step implements [machine]. The pump fills up to 205 bar and begins again below 150 bar. Gas warms
// when it is compressed (adiabatic exponent 1.4) and gives its heat to the shell:
//
//	p = 90 bar · 10 L/V · (T + 273)/293,  V = 10 L - stored
//	dT = -0.4 (T + 273) dV/V - (T - shell)/50
func (g *gasCharge) step(x, y []float64) {
	g.powerUnit.step()
	asked := 0.0 // L/min, what the pump is commanded to give
	if g.pumping {
		asked = 26
	}
	g.delivery += (asked - g.delivery) / 5
	before := g.stored
	g.stored = min(max(g.stored+(g.delivery-float64(0.55*g.flow))/300, 0.05), 6)
	volume := shellVolume - g.stored
	g.gas += float64(0.4*(g.gas+273)*(g.stored-before))/volume - (g.gas-g.shell)/50
	g.shell += (g.air+float64(0.3*(g.gas-g.air))-g.shell)/200 + g.noise(0.02)
	pressure := precharge * shellVolume / volume * (g.gas + 273) / 293
	if pressure > 205 {
		g.pumping = false
	} else if pressure < 150 {
		g.pumping = true
	}
	copy(x, []float64{
		g.gauge(pressure, 0.02),
		g.gauge(pressure, 0.03),
		g.gauge(pressure, 0.04),
		g.near(3+float64(0.0022*pressure*g.delivery), 0.6),
		g.near(float64(0.9*asked), 2),
		g.near(float64(0.05*g.flow), 0.1),
		g.near(float64(0.2*g.flow), 0.5),
		g.near(0.8+float64(0.03*g.flow), 0.12),
		g.near(g.shell, 1),
		g.near(g.oilHeat, 0.6),
		g.near(g.air, 0.8),
	})
	y[0], y[1], y[2] = g.stored, g.gas, g.delivery
}
