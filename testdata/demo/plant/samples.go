package plant

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"kerf/testdata/demo/packed"
)

// Sampling of the pressure channels. A mark on the pump's shaft starts every window.
const (
	Window = 64    // samples of a channel in a step
	Rate   = 6_400 // samples per second
	Cycles = 4     // of the pump's ripple in a window
)

// Channels are the pressure channels with their converters of 12 bits, in bar.
var Channels = [...]packed.Channel{
	{Name: "supply", Low: 0, High: 250, LastCode: lastCode, Decimals: 3},
	{Name: "return", Low: 0, High: 25, LastCode: lastCode, Decimals: 4},
	{Name: "case_drain", Low: -1, High: 9, LastCode: lastCode, Decimals: 4},
}

// lastCode is the largest code of a converter.
const lastCode = 1<<12 - 1

// convert returns the codes that the converter of a channel has for samples in bar.
func convert(c packed.Channel, x [Window]float64) (codes [Window]uint16) {
	for i, v := range x {
		code := math.Floor((v-c.Low)/(c.High-c.Low)*lastCode + 0.5)
		codes[i] = uint16(min(max(code, 0), lastCode))
	}
	return codes
}

// wave is the pressure in a window: a level and the ripple of the pump with its harmonics.
type wave struct {
	level  float64 // bar
	ripple float64 // bar, amplitude of the fundamental
	phase  float64 // rad, of the fundamental as a cosine
	second float64 // bar, amplitude of the second harmonic
	rough  float64 // bar, amplitude of the third to fifth harmonic together
	noise  float64 // bar, standard deviation of every sample
}

// samples draws the samples of the window. Harmonics beyond the fundamental have drawn phases, and
// the third, fourth and fifth share what is rough by 6, 2 and 1 parts of its square.
func (w wave) samples(rng *rand.Rand) (x [Window]float64) {
	for i := range x {
		x[i] = w.level + w.noise*rng.NormFloat64()
	}
	amplitudes := [...]float64{w.ripple, w.second, w.rough * math.Sqrt(6./9),
		w.rough * math.Sqrt(2./9), w.rough * math.Sqrt(1./9)}
	phase := w.phase
	for k, amplitude := range amplitudes {
		line := cmplx.Rect(amplitude, phase)
		for i := range x {
			x[i] += real(line * around[(k+1)*Cycles*i%Window])
		}
		phase = 2 * math.Pi * rng.Float64()
	}
	return x
}

// around holds exp(2 pi i n/Window).
var around = func() (all [Window]complex128) {
	for n := range all {
		all[n] = cmplx.Rect(1, 2*math.Pi*float64(n)/Window)
	}
	return all
}()
