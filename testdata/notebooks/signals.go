// Package notebooks makes jobs whose features a notebook computed from raw samples, some of them by
// another definition than features.csv says: another sign, degrees, RMS for peak, a distortion of
// other harmonics, sine for cosine, a window that begins a sample later, a baseline over the whole
// stretch, power for amplitude. They measure whether kerf features finds what was done.
//
// Formulas are written here a second time, with package math, and share no code with package
// frontend. Everything is invented; seeds and changes were fixed before anything that recognises
// them was written.
package notebooks

import (
	"math"
	"math/rand/v2"
)

// The sampling of all jobs: 64 samples at 6.4 kHz, four cycles of 400 Hz, a step every 100 ms.
const (
	Samples = 64
	Rate    = 6400.0
	Period  = 0.1
	Cycles  = 4
)

const (
	sequences = 4
	steps     = 60
	harmonics = 6
)

// channelNames are those of a hydraulic power unit.
var channelNames = []string{"supply", "return"}

// signal makes samples of a channel, one more than a window for each step: what changes slowly
// (level, amplitudes, phases) is drawn anew for every sequence and wanders from step to step.
func signal(random *rand.Rand, mean float64) [][]float64 {
	level := mean * (1 + 0.2*random.NormFloat64())
	amplitude, phase := make([]float64, harmonics+1), make([]float64, harmonics+1)
	for k := 1; k <= harmonics; k++ {
		amplitude[k] = 0.04 * mean / float64(k) * math.Exp(0.4*random.NormFloat64())
		phase[k] = 2 * math.Pi * random.Float64()
	}
	windows := make([][]float64, steps)
	for step := range windows {
		level += 0.01 * mean * random.NormFloat64()
		slope := 0.5 * mean * random.NormFloat64() // per second, within a window
		for k := 1; k <= harmonics; k++ {
			amplitude[k] *= math.Exp(0.15 * random.NormFloat64())
			phase[k] += 0.25 * random.NormFloat64()
		}
		windows[step] = make([]float64, Samples+1)
		for n := range windows[step] {
			v := level + slope*float64(n)/Rate + 0.001*mean*random.NormFloat64()
			for k := 1; k <= harmonics; k++ {
				v += amplitude[k] * math.Cos(2*math.Pi*float64(k*Cycles*n)/Samples+phase[k])
			}
			windows[step][n] = v
		}
	}
	return windows
}

// line returns amplitude and phase of a harmonic of a window.
func line(x []float64, k int) (amplitude, phase float64) {
	re, im := 0.0, 0.0
	for n, v := range x {
		angle := 2 * math.Pi * float64(k*Cycles*n) / float64(len(x))
		re += v * math.Cos(angle)
		im -= v * math.Sin(angle)
	}
	return 2 / float64(len(x)) * math.Hypot(re, im), math.Atan2(im, re)
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// deviation is the root of the mean square about the mean.
func deviation(x []float64) float64 {
	m, squares := mean(x), 0.0
	for _, v := range x {
		squares += (v - m) * (v - m)
	}
	return math.Sqrt(squares / float64(len(x)))
}

// inPi brings an angle into (-π, π].
func inPi(v float64) float64 {
	for v > math.Pi {
		v -= 2 * math.Pi
	}
	for v <= -math.Pi {
		v += 2 * math.Pi
	}
	return v
}

// fourDigits rounds to four significant digits, as tables often do.
func fourDigits(v float64) float64 {
	if v == 0 {
		return 0
	}
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-3)
	return math.Round(v/unit) * unit
}
