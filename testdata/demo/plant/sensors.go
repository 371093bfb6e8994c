package plant

import (
	"math"
	"math/rand/v2"
)

// FeatureNames are the names of the features in the order of the network's inputs: six for each of
// three pressure channels, then oil temperature.
var FeatureNames = [...]string{
	"supply_level", "supply_slope", "supply_ripple_amplitude",
	"supply_ripple_phase", "supply_second_harmonic", "supply_distortion",
	"return_level", "return_slope", "return_ripple_amplitude",
	"return_ripple_phase", "return_second_harmonic", "return_distortion",
	"case_drain_level", "case_drain_slope", "case_drain_ripple_amplitude",
	"case_drain_ripple_phase", "case_drain_second_harmonic", "case_drain_distortion",
	"oil_temperature",
}

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

// sensors turn the true state into features.
type sensors struct {
	rng *rand.Rand

	supplyDrift, returnDrift, drainDrift drift // bar
	thermometerDrift                     drift // degC
	supplyTone, returnTone, drainTone    drift // %, wander of the distortion features

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
		supplyTone:       newDrift(0.6, rng),
		returnTone:       newDrift(0.5, rng),
		drainTone:        newDrift(1.0, rng),
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

// read returns the features of one step, in the order of FeatureNames. Levels in bar, slopes in
// bar/s, ripple in bar, phase in rad, distortion in %, temperature in degC. Amplitudes and
// distortion cannot be negative: noise around zero is folded up.
func (s *sensors) read(u *powerUnit) [len(FeatureNames)]float64 {
	n := s.rng.NormFloat64
	bubbles := 1 + 0.12*u.air // noise of the pressure channels grows with air

	// Lines fill with a lag: return 2 steps, case drain 4 steps. In fast
	// cycling the case drain level therefore trails the leakage, and its slope makes up for that.
	before := s.returnPressure
	s.returnPressure += (returnPressure(u) - s.returnPressure) / 2
	returnSlope := (s.returnPressure - before) / StepSeconds
	before = s.drainPressure
	s.drainPressure += (drainPressure(u, s.returnPressure) - s.drainPressure) / 4
	drainSlope := (s.drainPressure - before) / StepSeconds
	s.probe += (u.temperature - s.probe) / 15

	// Pump ripple grows with pressure and is damped by air. Air slows sound
	// down, so ripple arrives later; less so under pressure, which shrinks the bubbles.
	supplyRipple := (0.7 + 0.016*u.supply) / (1 + 0.05*u.air)
	supplyPhase := 0.9 - 0.07*u.air*(1-u.supply/350) + 0.004*(u.temperature-40)
	returnRipple := 0.12 + 0.004*u.flow + 0.012*u.air
	returnPhase := 0.4 - 0.09*u.air/(1+0.04*u.air) + 0.003*(u.temperature-40)
	drainRipple := 0.03 + 0.035*u.leakage*visible(u) + 0.0004*u.supply
	drainPhase := -0.3 - 0.04*u.air + 0.02*u.leakage

	return [...]float64{
		u.supply + s.supplyDrift.next(s.rng) + 1.2*n(),
		u.slope + 6*bubbles*n(),
		math.Abs(supplyRipple*(1+0.10*n()) - 0.02*u.leakage),
		supplyPhase + 0.60*n(),
		math.Abs(0.22*supplyRipple*(1+0.3*n()) + 0.12*n()),
		math.Abs(4 + 0.10*u.ingest + 0.01*u.supply + s.supplyTone.next(s.rng) + 2.2*n()),

		s.returnPressure + s.returnDrift.next(s.rng) + 0.06*bubbles*n(),
		returnSlope + 2.0*bubbles*n(),
		math.Abs(returnRipple*(1+0.15*n()) + 0.01*n()),
		returnPhase + 0.45*n(),
		math.Abs(0.18*returnRipple*(1+0.5*n()) + 0.03*n()),
		math.Abs(3 + 0.55*u.ingest + 0.02*u.flow + s.returnTone.next(s.rng) + 2.2*n()),

		s.drainPressure + s.drainDrift.next(s.rng) + 0.09*bubbles*n(),
		drainSlope + 0.25*bubbles*n(),
		math.Abs(drainRipple*(1+0.12*n()) + 0.022*bubbles*n()),
		drainPhase + 0.60*n(),
		math.Abs(0.25*drainRipple*(1+0.5*n()) + 0.02*n()),
		math.Abs(5 + 0.2*u.leakage + 0.05*u.air + s.drainTone.next(s.rng) + 2.0*n()),

		s.probe + s.thermometerDrift.next(s.rng) + 0.15*n(),
	}
}
