package smallest

import (
	"math/rand/v2"

	"kerf/model"
)

// cooling tells two temperatures that no sensor reaches. Two states lie behind them.
var cooling = &Job{
	Name:    "cooling",
	seed:    41_000,
	seconds: 1,
	epochs:  200,
	layers:  []layer{{model.GRUResetAfter, 20}},
	sensors: []sensor{
		{"supply_level", "supply", "level", "bar"},
		{"supply_slope", "supply", "slope", "bar/s"},
		{"gauge_level", "gauge", "level", "bar"},
		{"relief_level", "relief", "level", "bar"},
		{"return_level", "return", "level", "bar"},
		{"pump_flow", "pump", "flow", "L/min"},
		{"motor_current_a", "motor", "current", "A"},
		{"motor_current_b", "motor", "current", "A"},
		{"motor_current_c", "motor", "current", "A"},
		{"motor_power", "motor", "power", "kW"},
		{"motor_speed", "motor", "speed", "1/min"},
		{"tank_temperature", "oil", "level", "degC"},
		{"return_temperature", "return", "temperature", "degC"},
		{"cooler_temperature", "cooler", "temperature", "degC"},
		{"air_temperature", "surroundings", "level", "degC"},
		{"cabinet_temperature", "surroundings", "cabinet", "degC"},
		{"fan_speed", "fan", "speed", "%"},
		{"fan_current", "fan", "current", "A"},
	},
	quantities: []quantity{
		{"winding", "degC", 3},
		{"seal", "degC", 2},
	},
	start: func(d duty, random *rand.Rand) machine { return newMotor(d, random) },
}

// motor is the electric motor with the pump and the fan on its shaft; one step is a second.
type motor struct {
	*powerUnit
	air     float64 // degC, of the surroundings
	fan     float64 // share of full speed
	winding float64 // degC
	seal    float64 // degC, at the lip of the shaft seal
}

// newMotor draws a motor at rest: all of it has the temperature of the oil.
func newMotor(d duty, random *rand.Rand) *motor {
	m := &motor{powerUnit: newPowerUnit(d, random), air: span{2, 32}.draw(random),
		fan: span{0.3, 1}.draw(random)}
	m.winding, m.seal = m.oilHeat, m.oilHeat
	return m
}

// step implements [machine]. The large stage of the pump works below 60 bar. Copper losses go with
// the square of the current, and the fan takes part in the cooling:
//
//	dTw/dt = (air + 0.5 I²/(0.6 + 0.6 fan) - Tw) (0.5 + 0.7 fan)/60
//	dTs/dt = (oil + 0.13 p - Ts)/30
func (m *motor) step(x, y []float64) {
	m.powerUnit.step()
	delivered := 14.0
	if m.pressure < 60 {
		delivered = 40
	}
	m.fan = min(max(m.fan+(0.65-m.fan)/150+m.noise(0.03), 0.2), 1)
	m.air += m.noise(0.05)
	power := 0.6 + m.pressure*delivered/600 // kW: bar times L/min is 1/600 kW
	current := 3 + float64(2.1*power)
	heat := float64(0.5*current*current) / (0.6 + float64(0.6*m.fan))
	m.winding += (m.air + heat - m.winding) * (0.5 + float64(0.7*m.fan)) / 60
	m.seal += (m.oilHeat + float64(0.13*m.pressure) - m.seal) / 30
	copy(x, []float64{
		m.gauge(m.pressure, 0.02),
		m.near(m.slope, 4),
		m.gauge(m.pressure, 0.04),
		m.gauge(m.pressure, 0.06),
		m.near(0.8+float64(0.03*m.flow), 0.15),
		m.near(delivered, 2),
		m.near(current, 0.5),
		m.near(current, 0.6),
		m.near(current, 0.7),
		m.near(power, 0.3),
		m.near(2940-float64(20*power), 9),
		m.near(m.oilHeat, 0.6),
		m.near(m.oilHeat+float64(0.8*power), 1),
		m.near(m.oilHeat-float64(6*m.fan), 1),
		m.near(m.air, 0.8),
		m.near(m.air+3, 1.5),
		m.near(float64(100*m.fan), 4),
		m.near(0.4+float64(2.2*m.fan), 0.15),
	})
	y[0], y[1] = m.winding, m.seal
}
