package frontend

import "math"

// MostSamples is how many samples a window may have (our choice: a transform of as many is beyond
// what a small core computes in a step).
const MostSamples = 4096

// Channel is one sampled signal.
type Channel struct {
	Name      string
	Unit      string
	Converter Converter
	Cycles    int     // c, of the fundamental in a window
	Floor     float64 // amplitude, or baseline, below which a feature is 0; in the unit
	Baseline  Baseline
}

// ReachesZero reports whether integers reach from the codes to physical zero: so many samples of
// the farthest code add up to less than 2^30 steps. [RMS], and [Relative] to a baseline in seconds,
// are about physical zero.
func (c *Channel) ReachesZero(samples int) bool {
	farthest := max(math.Abs(c.Converter.Low), math.Abs(c.Converter.High)) / c.Converter.Step()
	return float64(float64(samples)*farthest) < 1<<sampleBits
}

// Baseline is what [Relative] compares a level with: a value, or the mean level of the steps so far
// that begin less than Seconds after the first, this one included, which does not change
// afterwards. A device knows no more at any step.
type Baseline struct {
	Value   float64 // in the unit of the channel; used where Seconds is 0
	Seconds float64
}

// Converter makes codes of samples.
type Converter struct {
	Low, High float64 // in the unit of the channel, of the first and of the last code
	Bits      int     // 1 to 16
}

// Step returns the width of a code in the unit of the channel.
func (c Converter) Step() float64 { return (c.High - c.Low) / float64(c.last()) }

func (c Converter) last() int { return 1<<c.Bits - 1 }

// Code returns the code of a value: floor((x - low)/(high - low)·(2^bits - 1) + 1/2), limited to
// the codes that there are.
func (c Converter) Code(x float64) uint16 {
	code := math.Floor(float64((x-c.Low)/(c.High-c.Low)*float64(c.last())) + 0.5)
	return uint16(min(max(code, 0), float64(c.last())))
}

// Value returns the value that a code stands for.
func (c Converter) Value(code uint16) float64 {
	return c.Low + float64(float64(code)*(c.High-c.Low))/float64(c.last())
}
