package frontend

import (
	"math"

	"kerf/dataset"
	"kerf/portable"
)

// Analysis is what the features of a window follow from, in double precision and in the unit of the
// channel.
type Analysis struct {
	Level, Trend     float64 // trend: per second
	Minimum, Maximum float64
	RMS, Ripple      float64
	Real, Imaginary  []float64 // of S_k, from k = 1
}

// Amplitude returns that of harmonic k of a window with so many samples.
func (a *Analysis) Amplitude(k, samples int) float64 {
	re, im := a.Real[k-1], a.Imaginary[k-1]
	return 2 / float64(samples) * math.Sqrt(float64(re*re)+float64(im*im))
}

// Angle returns that of harmonic k, in (-π, π].
func (a *Analysis) Angle(k int) float64 { return portable.Atan2(a.Imaginary[k-1], a.Real[k-1]) }

// Distortion returns that of harmonics 2 to order in %, without regard to a floor.
func (a *Analysis) Distortion(order, samples int) float64 {
	sum := 0.0
	for k := 2; k <= order; k++ {
		v := a.Amplitude(k, samples)
		sum += float64(v * v)
	}
	return 100 * math.Sqrt(sum) / a.Amplitude(1, samples)
}

// Analyser analyses windows of one channel.
type Analyser struct {
	window    dataset.Sampling
	cycles    int
	harmonics int
	cos, sin  []float64 // of 2π·n/N
}

// NewAnalyser returns an analyser that takes harmonics 1 to harmonics; harmonics·cycles is less
// than half of the samples of a window.
func NewAnalyser(w dataset.Sampling, cycles, harmonics int) *Analyser {
	a := &Analyser{window: w, cycles: cycles, harmonics: harmonics,
		cos: make([]float64, w.Samples), sin: make([]float64, w.Samples)}
	for n := range w.Samples {
		// of the angle in (-π, π]
		turns := n
		if 2*n > w.Samples {
			turns -= w.Samples
		}
		angle := 2 * math.Pi * float64(turns) / float64(w.Samples)
		a.cos[n] = portable.Cos(angle)
		a.sin[n] = math.Copysign(portable.Sin(math.Abs(angle)), float64(turns))
	}
	return a
}

// Analyse returns the analysis of a window of samples.
func (a *Analyser) Analyse(x []float64) Analysis {
	n := float64(len(x))
	r := Analysis{Minimum: x[0], Maximum: x[0], Real: make([]float64, a.harmonics),
		Imaginary: make([]float64, a.harmonics)}
	sum, squares := 0.0, 0.0
	for _, v := range x {
		sum += v
		squares += float64(v * v)
		r.Minimum, r.Maximum = min(r.Minimum, v), max(r.Maximum, v)
	}
	r.Level, r.RMS = sum/n, math.Sqrt(squares/n)
	about, moment := 0.0, 0.0
	for i, v := range x {
		v -= r.Level // sums about the mean lose no digits to it
		about += float64(v * v)
		moment += float64(v * (float64(i) - float64((n-1)/2)))
		at := 0
		for k := range a.harmonics {
			at = (at + a.cycles*i) % a.window.Samples
			r.Real[k] += float64(v * a.cos[at])
			r.Imaginary[k] -= float64(v * a.sin[at])
		}
	}
	r.Ripple = math.Sqrt(about / n)
	// the least-squares line: sum of (n - mean)² is N(N² - 1)/12
	r.Trend = moment * 12 / (n * (float64(n*n) - 1)) * a.window.Rate
	return r
}
