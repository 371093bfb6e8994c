package plant

import (
	"math"
	"math/rand/v2"
)

// drift is a slow wander of a sensor's zero: a first-order process with a
// time constant of 300 steps and the given standard deviation.
type drift struct{ value, sd float64 }

// newDrift draws a drift that has been wandering for long.
func newDrift(sd float64, rng *rand.Rand) drift {
	return drift{value: sd * rng.NormFloat64(), sd: sd}
}

// next returns the drift one step later: it decays by 1/300 and gets noise of sd·sqrt(2/300), which
// keeps the standard deviation.
func (d *drift) next(rng *rand.Rand) float64 {
	d.value += -d.value/300 + d.sd*0.0816*rng.NormFloat64()
	return d.value
}

// sensors turn the true state into samples of pressure and into oil temperature.
type sensors struct {
	rng *rand.Rand

	supplyDrift, returnDrift, drainDrift drift   // bar
	thermometerDrift                     drift   // degC
	supplyTone, returnTone, drainTone    drift   // wander of the share of harmonics
	swirl                                float64 // bar, wander of the case drain by what flows past

	returnPressure float64 // bar, without noise
	drainPressure  float64 // bar, without noise
	probe          float64 // degC, the thermometer lags the oil
}

// newSensors draws the drifts at the start of a sequence.
func newSensors(u *powerUnit, rng *rand.Rand) *sensors {
	s := &sensors{
		rng:              rng,
		supplyDrift:      newDrift(1.5, rng),
		returnDrift:      newDrift(0.05, rng),
		drainDrift:       newDrift(0.05, rng),
		thermometerDrift: newDrift(0.4, rng),
		supplyTone:       newDrift(0.006, rng),
		returnTone:       newDrift(0.005, rng),
		drainTone:        newDrift(0.010, rng),
		probe:            u.temperature,
	}
	s.returnPressure = returnPressure(u)
	s.drainPressure = drainPressure(u, s.returnPressure)
	return s
}

// returnPressure returns the pressure of the return line in bar: filter and cooler resist with the
// square of the flow, the lines with flow times viscosity.
func returnPressure(u *powerUnit) float64 {
	return 0.8 + 0.001*u.flow*u.flow + 0.012*u.flow*u.viscosity()
}

// visible returns the share of the leakage that shows in the case drain: bubbles take up its
// pressure and its pulsation. So air masks leakage.
func visible(u *powerUnit) float64 {
	a := u.air / 8
	return 1 / (1 + a*a)
}

// drainPressure returns the pressure of the case drain in bar: visible leakage through the drain
// line on top of a part of the return pressure.
func drainPressure(u *powerUnit, back float64) float64 {
	return 0.15*back + 0.16*u.leakage*visible(u)
}

// reference returns the readings of the instruments on the test bench, which are the outputs: a
// flow meter good to 0.06 L/min and 6 % of the reading, an air gauge good to 0.15 % by volume and 4
// % of the reading (standard deviations). Their noise is the part of the error that no network can
// learn.
func (s *sensors) reference(u *powerUnit) (leakage, air float64) {
	n := s.rng.NormFloat64
	leakage = u.leakage*(1+0.06*n()) + 0.06*n()
	air = u.air*(1+0.04*n()) + 0.15*n()
	return math.Max(0, leakage), math.Max(0, air)
}

// read returns what the step shows: the samples of the three pressure channels, in the order of
// Channels, and oil temperature in degC.
func (s *sensors) read(u *powerUnit) (codes [len(Channels)][Window]uint16, temperature float64) {
	n := s.rng.NormFloat64
	bubbles := 1 + 0.12*u.air // noise of the pressure channels grows with air

	// Lines fill with a lag: return 2 steps, case drain 4 steps. In fast
	// cycling the case drain level therefore trails the leakage, and its slope makes up for that.
	s.returnPressure += (returnPressure(u) - s.returnPressure) / 2
	s.drainPressure += (drainPressure(u, s.returnPressure) - s.drainPressure) / 4
	s.swirl += -s.swirl/30 + 0.06*bubbles*0.256*n() // 0.256 = sqrt(2/30) keeps the deviation
	s.probe += (u.temperature - s.probe) / 15

	// Pump ripple grows with pressure and is damped by air. Air slows sound
	// down, so ripple arrives later; less so under pressure, which shrinks the bubbles.
	// Cavitation, where air comes in, makes the ripple rough: that shows in its harmonics.
	ripple := (0.7 + 0.016*u.supply) / (1 + 0.05*u.air)
	supply := wave{
		level:  u.supply + s.supplyDrift.next(s.rng) + 0.4*bubbles*n(),
		ripple: math.Abs(ripple*(1+0.10*n()) - 0.02*u.leakage),
		phase:  0.9 - 0.07*u.air*(1-u.supply/350) + 0.004*(u.temperature-40) + 0.60*n(),
		second: 0.08*ripple*(1+0.3*n()) + 0.05*n(),
		rough: ripple * (0.05 + 0.0010*u.ingest + 0.0001*u.supply + s.supplyTone.next(s.rng) +
			0.022*n()),
		noise: 0.3,
	}
	ripple = 0.12 + 0.004*u.flow + 0.012*u.air
	back := wave{
		level:  s.returnPressure + s.returnDrift.next(s.rng) + 0.06*bubbles*n(),
		ripple: math.Abs(ripple*(1+0.15*n()) + 0.01*n()),
		phase: 0.4 - 0.09*u.air/(1+0.04*u.air) + 0.003*(u.temperature-40) +
			0.45*n(),
		second: 0.05*ripple*(1+0.5*n()) + 0.01*n(),
		rough: ripple * (0.03 + 0.0075*u.ingest + 0.0002*u.flow + s.returnTone.next(s.rng) +
			0.022*n()),
		noise: 0.012,
	}
	ripple = 0.03 + 0.035*u.leakage*visible(u) + 0.0004*u.supply
	drain := wave{
		level:  s.drainPressure + s.drainDrift.next(s.rng) + s.swirl + 0.015*bubbles*n(),
		ripple: math.Abs(ripple*(1+0.12*n()) + 0.022*bubbles*n()),
		phase:  -0.3 - 0.04*u.air + 0.02*u.leakage + 0.60*n(),
		second: 0.07*ripple*(1+0.5*n()) + 0.006*n(),
		rough: ripple * (0.05 + 0.002*u.leakage + 0.0005*u.air + s.drainTone.next(s.rng) +
			0.020*n()),
		noise: 0.006,
	}
	for c, w := range [...]wave{supply, back, drain} {
		codes[c] = convert(Channels[c], w.samples(s.rng))
	}
	return codes, s.probe + s.thermometerDrift.next(s.rng) + 0.15*n()
}
