package plant

import (
	"math"
	"math/cmplx"
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

// featureDecimals are the decimals of the features in a recording: the last one is a hundredth of
// their standard deviation, or less.
var featureDecimals = [len(FeatureNames)]int{
	1, 1, 3, 2, 3, 1,
	3, 2, 4, 2, 4, 1,
	3, 2, 4, 2, 4, 1,
	1,
}

// floors are amplitudes in bar of the channels, below which phase and distortion are 0.
var floors = [len(Channels)]float64{0.2, 0.03, 0.02}

// features computes the features of the pressure channels from samples, as the definitions in
// features.csv have them: levels in bar, slopes in bar/s, amplitudes of the fundamental and of the
// second harmonic in bar, the phase of the fundamental in rad, distortion by the second to fifth
// harmonic in %. Levels of the step before are NaN at the first step.
func features(codes [len(Channels)][Window]uint16, before *[len(Channels)]float64) []float64 {
	var all []float64
	for c, channel := range Channels {
		level := 0.0
		var lines [6]complex128 // of harmonics 1 to 5
		for i, code := range codes[c] {
			x := channel.Value(code)
			level += x / Window
			for k := 1; k <= 5; k++ {
				lines[k] += complex(2./Window*x, 0) * cmplx.Conj(around[k*Cycles*i%Window])
			}
		}
		slope := 0.0
		if !math.IsNaN(before[c]) {
			slope = (level - before[c]) / StepSeconds
		}
		before[c] = level
		first, second := cmplx.Abs(lines[1]), cmplx.Abs(lines[2])
		phase, distortion := 0.0, 0.0
		if first >= floors[c] {
			phase = cmplx.Phase(lines[1])
			for _, line := range lines[2:] {
				distortion = math.Hypot(distortion, cmplx.Abs(line))
			}
			distortion *= 100 / first
		}
		all = append(all, level, slope, first, phase, second, distortion)
	}
	return all
}
