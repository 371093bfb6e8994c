package slow

import (
	"math"
	"math/rand/v2"
)

// sensor is one feature: its name and its normalisation.
type sensor struct {
	name, channel, kind, unit string
	mean, std                 float64
}

var sensors = [...]sensor{
	{"supply_level", "supply", "level", "bar", 95, 45},
	{"supply_slope", "supply", "slope", "bar/s", 0, 9},
	{"return_level", "return", "level", "bar", 3.2, 1.1},
	{"case_level", "case_drain", "level", "bar", 0.9, 0.35},
	{"case_ripple", "case_drain", "amplitude", "bar", 0.12, 0.05},
	{"oil_temperature", "oil", "level", "degC", 48, 11},
	{"oil_moisture", "oil", "saturation", "%", 42, 16},
	{"particles", "oil", "count", "1/mL", 640, 260},
}

// duty is one way to operate the machine.
type duty struct {
	name      string
	low, high float64 // bar, range of the supply pressure that the work asks for
	hold      float64 // steps, mean length of one load
	heat      float64 // degC at which the oil settles with 100 bar
	humidity  float64 // %, moisture towards which the oil tends
	shake     float64 // factor of all random changes, 1 at work
}

// At a standstill the pump idles: hardly anything moves the candidates of the
// units, and states creep up to them by less and less.
var duties = [...]duty{
	{"fast_cycling", 30, 190, 60, 54, 40, 1},
	{"standstill", 24, 26, 1000, 44, 55, 0.05},
}

// Time constants of the machine in steps.
const (
	pressureLag = 4
	heatingLag  = 500
	moistureLag = 800
	particleLag = 250
)

// machine is the state of the power unit.
type machine struct {
	duty   duty
	random *rand.Rand

	wear     float64 // size of the leaking gaps, 1 = as designed
	load     float64 // bar, supply pressure that the work asks for
	pressure float64 // bar, supply pressure
	heat     float64 // degC, of the oil
	moisture float64 // %, of the oil
	dirt     float64 // 1/mL, particles in the oil
	burst    float64 // 1/mL, particles that the last log shook loose
}

// newMachine draws a machine at the start of a sequence.
func newMachine(d duty, random *rand.Rand) *machine {
	m := &machine{duty: d, random: random, wear: 0.6 + 0.9*random.Float64(),
		heat: d.heat + 16*random.NormFloat64()*0.5, moisture: d.humidity + 12*random.NormFloat64()}
	m.pressure, m.dirt = d.low, 450+300*random.Float64()
	m.choose()
	return m
}

// choose draws the next load.
func (m *machine) choose() { m.load = m.duty.low + (m.duty.high-m.duty.low)*m.random.Float64() }

// towards returns a value after one step of a first-order lag towards its goal, plus a random
// change such that the value has the standard deviation spread in the long run.
func (m *machine) towards(value, goal, lag, spread float64) float64 {
	return value + float64((goal-value)/lag) +
		float64(m.duty.shake*spread*math.Sqrt(2/lag)*m.random.NormFloat64())
}

// step advances the machine by one second and returns the readings of the sensors.
func (m *machine) step() [len(sensors)]float64 {
	if m.random.Float64() < 1/m.duty.hold {
		m.choose()
		m.burst = 500 * m.duty.shake * m.random.Float64()
	}
	before := m.pressure
	m.pressure = m.towards(m.pressure, m.load, pressureLag, 4)
	m.heat = m.towards(m.heat, m.duty.heat+float64(0.12*(m.pressure-100)), heatingLag, 5)
	m.moisture = m.towards(m.moisture, m.duty.humidity-float64(0.4*(m.heat-m.duty.heat)),
		moistureLag, 9)
	m.dirt = m.towards(m.dirt, 420+float64(120*m.wear)+m.burst, particleLag, 90)
	noise := func(deviation float64) float64 {
		return float64(m.duty.shake * deviation * m.random.NormFloat64())
	}
	leak := m.wear * m.pressure / 100 * (1 + float64(0.012*(m.heat-45)))
	return [...]float64{
		m.pressure + noise(0.8),
		m.pressure - before + noise(0.5),
		1.2 + float64(0.021*m.pressure) + noise(0.15),
		0.2 + float64(0.7*leak) + noise(0.03),
		0.05 + float64(0.07*leak) + noise(0.012),
		m.heat + noise(0.3),
		m.moisture + noise(0.6),
		m.dirt + noise(25),
	}
}
