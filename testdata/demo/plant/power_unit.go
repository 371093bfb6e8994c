package plant

import (
	"math"
	"math/rand/v2"
)

// powerUnit is the true state of the machine.
type powerUnit struct {
	sc  scenario
	rng *rand.Rand

	part       int     // of the work cycle: 0 approach, 1 split, 2 retract
	partLeft   int     // steps until the next part
	load       float64 // bar, supply pressure that the log asks for
	demand     float64 // L/min, flow through the return line that the part asks for
	settleTemp float64 // degC, temperature at which the oil settles

	wear     float64 // size of the leaking gaps, 1 = as designed
	quiet    float64 // % by volume, air level of quiet running
	burst    float64 // % by volume, air level of the burst under way
	burstFor int     // steps until the burst ends

	supply      float64 // bar
	slope       float64 // bar/s
	flow        float64 // L/min
	temperature float64 // degC
	ingest      float64 // % by volume, level towards which the air tends
	air         float64 // % by volume
	leakage     float64 // L/min
}

// newPowerUnit draws a machine at the start of a sequence.
func newPowerUnit(sc scenario, rng *rand.Rand) *powerUnit {
	u := &powerUnit{
		sc: sc, rng: rng,
		part:        2,
		settleTemp:  sc.equilibrium.draw(rng),
		temperature: sc.startTemperature.draw(rng),
		wear:        math.Exp(span{math.Log(0.4), math.Log(2.8)}.draw(rng)),
		quiet:       sc.quietIngest.draw(rng),
		air:         sc.startAir.draw(rng),
		supply:      25,
		flow:        10,
	}
	u.ingest = u.quiet
	return u
}

// advance moves the machine by one step.
func (u *powerUnit) advance() {
	u.work()
	u.warm()
	u.breathe()
	u.leak()
}

// work follows the cycle of the ram: approach and retract move much oil at
// low pressure, splitting moves little at high pressure. The supply pressure
// follows the load with a lag; air makes the column of oil softer and the lag longer.
//
//	dp/dt = (load - p) / (lag · (1 + 0.06 air))
func (u *powerUnit) work() {
	if u.partLeft == 0 {
		u.part = (u.part + 1) % 3
		switch u.part {
		case 0:
			u.partLeft = int(u.sc.approach.draw(u.rng))
			u.load, u.demand = span{28, 45}.draw(u.rng), 38
		case 1:
			u.partLeft = int(u.sc.split.draw(u.rng))
			u.load, u.demand = u.sc.peak.draw(u.rng), 16
		case 2:
			u.partLeft = int(u.sc.retract.draw(u.rng))
			u.load, u.demand = span{20, 32}.draw(u.rng), 44
		}
	}
	u.partLeft--
	wood := 0.0 // fibres give way unevenly
	if u.part == 1 {
		wood = 0.06 * u.load * u.rng.NormFloat64()
	}
	change := (u.load + wood - u.supply) / (u.sc.pressureLag * (1 + 0.06*u.air))
	u.slope = change / StepSeconds
	u.supply += change
	u.flow += (u.demand - u.flow) / (1 + u.sc.pressureLag/2)
}

// warm heats the oil by the power that pressure turns into heat, and cools the oil towards the
// temperature at which the tank gives off as much heat as it gets.
func (u *powerUnit) warm() {
	u.temperature += u.sc.heating * u.supply / 100 * (u.settleTemp - u.temperature) / 25
}

// viscosity returns the viscosity of the oil relative to 40 degC: an exponential law with 2.5 % per
// kelvin, about that of a mineral hydraulic oil.
func (u *powerUnit) viscosity() float64 { return math.Exp(-0.025 * (u.temperature - 40)) }

// breathe moves the entrained air towards the level that the present ingress
// leads to. Bubbles rise slowly, and more slowly in thick oil:
//
//	d air/dt = (ingest - air) / tau,   tau = 300 steps · viscosity^0.5, within 200..600 steps
//
// Ingress is the quiet level, stirred by fast pressure changes, or that of a
// burst (a leaking suction line, a low tank).
func (u *powerUnit) breathe() {
	if u.burstFor > 0 {
		u.burstFor--
	} else if u.rng.Float64() < u.sc.burstChance {
		u.burstFor = int(u.sc.burstLength.draw(u.rng))
		u.burst = u.sc.burstLevel.draw(u.rng)
	} else {
		u.burst = 0
	}
	stirred := 0.002 * math.Abs(u.slope)
	u.ingest = math.Max(u.quiet, u.burst) + stirred
	tau := math.Min(600, math.Max(200, 300*math.Sqrt(u.viscosity())))
	u.air += (u.ingest - u.air) / tau
}

// leak is flow through worn gaps: proportional to pressure and wear, less in
// thick oil (exponent 0.6, between laminar 1 and turbulent 0), plus oil
// squeezed past the seals while pressure rises.
//
//	leakage = wear · (0.014 p / viscosity^0.6 + 0.004 max(0, dp/dt))   in L/min, bar, bar/s
func (u *powerUnit) leak() {
	u.wear *= math.Exp(0.004 * u.rng.NormFloat64())
	rising := math.Max(0, u.slope)
	u.leakage = u.wear * (0.014*u.supply/math.Pow(u.viscosity(), 0.6) + 0.004*rising)
}
