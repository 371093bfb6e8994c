// Package randomfront draws front ends and codes for tests: every kind of feature, windows and
// cycles that divide and that do not, converters of 8 to 16 bits.
package randomfront

import (
	"fmt"
	"math"
	"math/rand/v2"

	"kerf/dataset"
	"kerf/frontend"
)

// windows are samples and cycles of the front ends that are drawn.
var windows = [][2]int{{16, 1}, {16, 2}, {60, 1}, {60, 4}, {64, 1}, {64, 4}, {64, 5}, {100, 2},
	{100, 5}, {160, 4}, {160, 3}, {256, 8}, {400, 5}, {400, 4}, {50, 2}, {90, 10}, {7, 1}, {33, 3}}

// FrontEnd draws a front end with up to so many channels and features, and an encoding for each
// feature.
func FrontEnd(random *rand.Rand, channels, features int) (*frontend.FrontEnd,
	[]frontend.Encoding) {
	window := windows[random.IntN(len(windows))]
	f := &frontend.FrontEnd{Sampling: dataset.Sampling{Samples: window[0], Rate: 6400,
		Period: 0.1}}
	for i := range 1 + random.IntN(channels) {
		low := math.Ldexp(random.NormFloat64(), random.IntN(8))
		c := frontend.Channel{Name: fmt.Sprintf("channel %d", i), Cycles: window[1],
			Converter: frontend.Converter{Low: low, High: low + 1 + 100*random.Float64(),
				Bits: []int{8, 10, 12, 12, 12, 14, 16}[random.IntN(7)]}}
		c.Floor = c.Converter.Step() * float64(1+random.IntN(20))
		if c.Baseline.Seconds = 0.1 * float64(random.IntN(25)); c.Baseline.Seconds == 0 {
			c.Baseline.Value = low + 50*random.Float64()
		}
		f.Channels = append(f.Channels, c)
	}
	for i := range max(len(f.Channels), 1+random.IntN(features)) {
		f.Features = append(f.Features, feature(random, f, i))
	}
	return f, encodings(random, f)
}

// Shapes are samples, cycles and bits of the vectors of frontend/testdata/vectors.npz.
var Shapes = [][3]int{{16, 1, 12}, {16, 2, 8}, {60, 1, 10}, {60, 3, 12}, {60, 4, 12}, {64, 1, 12},
	{64, 4, 12}, {64, 2, 16}, {64, 5, 14}, {100, 1, 12}, {100, 2, 14}, {100, 5, 10}, {160, 1, 12},
	{160, 4, 16}, {160, 3, 8}, {400, 1, 12}, {400, 5, 16}, {400, 4, 14}}

// AllKinds returns the front end of a shape with features of every kind on one of two channels.
func AllKinds(random *rand.Rand, shape [3]int) (*frontend.FrontEnd, []frontend.Encoding) {
	f := &frontend.FrontEnd{Sampling: dataset.Sampling{Samples: shape[0], Rate: 6400, Period: 0.1}}
	for i, name := range []string{"own", "other"} {
		c := frontend.Channel{Name: name, Cycles: shape[1],
			Converter: frontend.Converter{Low: -3, High: 9, Bits: shape[2]}}
		c.Floor = 8 * c.Converter.Step()
		c.Baseline.Seconds, c.Baseline.Value = float64(1-i), 4
		f.Channels = append(f.Channels, c)
	}
	for i, text := range []string{"level", "relative", "slope", "trend", "minimum", "maximum",
		"swing", "rms", "ripple", "amplitude(1)", "amplitude(2)", "amplitude(3)", "amplitude(5)",
		"phase(1)", "phase(2)", "phase(1, other)", "distortion(2)", "distortion(5)",
		"distortion(7)"} {
		d, err := frontend.ParseDefinition(text)
		if err != nil {
			panic(err) // the texts are ours
		}
		if 2*d.Order*shape[1] < shape[0] {
			f.Features = append(f.Features, frontend.Feature{Name: fmt.Sprintf("f%d", i),
				Definition: d, Other: 1, Scale: 1})
		}
	}
	for i, d := range []frontend.Kind{frontend.Relative, frontend.RMS} {
		f.Features = append(f.Features, frontend.Feature{Name: fmt.Sprintf("o%d", i), Channel: 1,
			Definition: frontend.Definition{Kind: d}, Scale: 1})
	}
	return f, encodings(random, f)
}

// feature draws feature number i.
func feature(random *rand.Rand, f *frontend.FrontEnd, i int) frontend.Feature {
	kinds := []frontend.Kind{frontend.Level, frontend.Relative, frontend.Slope, frontend.Trend,
		frontend.Minimum, frontend.Maximum, frontend.Swing, frontend.RMS, frontend.Ripple,
		frontend.Amplitude, frontend.Amplitude, frontend.Amplitude, frontend.Phase, frontend.Phase,
		frontend.Distortion}
	made := frontend.Feature{Name: fmt.Sprintf("f%d", i), Channel: random.IntN(len(f.Channels)),
		Scale: 1}
	if i < len(f.Channels) {
		made.Channel = i // every channel has a feature
	}
	d := &made.Definition
	d.Kind = kinds[random.IntN(len(kinds))]
	most := (f.Sampling.Samples - 1) / (2 * f.Channels[made.Channel].Cycles)
	switch d.Kind {
	case frontend.Amplitude, frontend.Phase:
		d.Order = 1 + random.IntN(min(most, 7))
	case frontend.Distortion:
		d.Order = min(2+random.IntN(6), most)
		if most < 2 {
			*d = frontend.Definition{Kind: frontend.Amplitude, Order: 1}
		}
	}
	if d.Kind == frontend.Phase && len(f.Channels) > 1 && random.IntN(2) == 0 {
		made.Other = (made.Channel + 1) % len(f.Channels)
		d.Other = f.Channels[made.Other].Name
	}
	if random.IntN(3) == 0 {
		made.Scale, made.Offset = 2*random.NormFloat64(), random.NormFloat64()
		made.Wrap = d.Kind == frontend.Phase
	}
	return made
}

// encodings draws means and deviations of the size that features of uniform codes have.
func encodings(random *rand.Rand, f *frontend.FrontEnd) []frontend.Encoding {
	var all []frontend.Encoding
	for i := range f.Features {
		feature := &f.Features[i]
		c := &f.Channels[feature.Channel]
		wide := c.Converter.High - c.Converter.Low
		e := frontend.Encoding{Std: wide / 8, FractionBits: 10 + random.IntN(3)}
		switch feature.Definition.Kind {
		case frontend.Level, frontend.Minimum, frontend.Maximum, frontend.RMS:
			e.Mean = (c.Converter.Low + c.Converter.High) / 2
		case frontend.Relative:
			e.Std = 0.3
		case frontend.Phase:
			e.Std = 2
		case frontend.Distortion:
			e.Mean, e.Std = 60, 50
		case frontend.Slope, frontend.Trend:
			e.Std = wide * 20
		}
		e.Std *= math.Abs(feature.Scale) * (0.2 + random.Float64())
		e.Mean = feature.Scale*e.Mean + feature.Offset
		all = append(all, e)
	}
	return all
}

// Codes makes the codes of so many windows, per channel, as testdata/emulate/front_driver.c of
// exporter/emit does: windows of noise, of square waves from end to end, of nearly constant codes,
// and of triangles.
func Codes(seed uint32, f *frontend.FrontEnd, steps int) [][]uint16 {
	codes := make([][]uint16, len(f.Channels))
	next := func() uint32 { // Marsaglia 2003, "Xorshift RNGs"
		seed ^= seed << 13
		seed ^= seed >> 17
		seed ^= seed << 5
		return seed
	}
	for step := range steps {
		half := 1 + next()%uint32(f.Sampling.Samples)
		level := next()
		for n := range f.Sampling.Samples {
			for c := range f.Channels {
				bits := f.Channels[c].Converter.Bits
				v := next() >> (32 - bits)
				switch step % 4 {
				case 1:
					v = 0
					if uint32(n+c)/half%2 == 0 {
						v = 1<<bits - 1
					}
				case 2:
					v = (level>>(32-bits) + v%3) & (1<<bits - 1)
				case 3:
					v = (uint32(n)*(level>>20) + v%5) & (1<<bits - 1)
				}
				codes[c] = append(codes[c], uint16(v))
			}
		}
	}
	return codes
}
