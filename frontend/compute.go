package frontend

import (
	"math"
	"slices"

	"kerf/dataset"
)

// Feature is a feature that is computed from samples: what the recordings have is
// Scale·computed + Offset; of an angle with Wrap, brought into half a turn to either side.
type Feature struct {
	Name       string // in the recordings
	Definition Definition
	Channel    int // of [FrontEnd.Channels]
	Other      int // the same of Definition.Other

	Scale, Offset float64
	Wrap          bool
}

// FrontEnd is what computes features from samples.
type FrontEnd struct {
	Sampling dataset.Sampling
	Channels []Channel
	Features []Feature
}

// Analyses returns the analysis of every window of samples: per channel, per step.
func (f *FrontEnd) Analyses(s *dataset.Samples) [][]Analysis {
	return f.analyses(s, f.harmonics)
}

// analyses is Analyses with as many harmonics of a channel as harmonics returns.
func (f *FrontEnd) analyses(s *dataset.Samples, harmonics func(channel int) int) [][]Analysis {
	all := make([][]Analysis, len(f.Channels))
	for c := range f.Channels {
		analyser := NewAnalyser(f.Sampling, f.Channels[c].Cycles, harmonics(c))
		all[c] = make([]Analysis, len(s.T))
		for step := range s.T {
			n := f.Sampling.Samples
			all[c][step] = analyser.Analyse(s.X[c][step*n : (step+1)*n])
		}
	}
	return all
}

// harmonics returns the highest harmonic that the features of a channel need.
func (f *FrontEnd) harmonics(channel int) int {
	most := 0
	for _, feature := range f.Features {
		isOther := feature.Definition.Other != "" && feature.Other == channel
		if feature.Channel == channel || isOther {
			most = max(most, feature.Definition.Order)
		}
	}
	return most
}

// lines returns the harmonics that the features of a channel need, in rising order.
func (f *FrontEnd) lines(channel int) []int {
	var lines []int
	for _, feature := range f.Features {
		d := feature.Definition
		isOther := d.Other != "" && feature.Other == channel
		switch {
		case d.Order == 0 || feature.Channel != channel && !isOther:
		case d.Kind == Distortion:
			for k := 1; k <= d.Order; k++ {
				lines = append(lines, k)
			}
		default:
			lines = append(lines, d.Order)
		}
	}
	slices.Sort(lines)
	return slices.Compact(lines)
}

// Compute returns the values of a feature at every step, in double precision from samples as they
// stand: neither coded nor limited.
func (f *FrontEnd) Compute(feature *Feature, analyses [][]Analysis) []float64 {
	own, channel := analyses[feature.Channel], &f.Channels[feature.Channel]
	values := make([]float64, len(own))
	base := f.newBaseline(channel)
	for step := range own {
		a := &own[step]
		v := f.value(feature, a, channel)
		switch d := feature.Definition; {
		case d.Kind == Relative:
			v = base.relative(step, a.Level)
		case d.Kind == Slope && step > 0:
			v = (a.Level - own[step-1].Level) / f.Sampling.Period
		case d.Other != "":
			other := &analyses[feature.Other][step]
			v = WrapAngle(v - f.angle(other, d.Order, &f.Channels[feature.Other]))
		}
		values[step] = feature.recorded(v)
	}
	return values
}

// recorded returns what the recordings have for a computed value.
func (f *Feature) recorded(v float64) float64 {
	v = float64(f.Scale*v) + f.Offset
	if turn := f.turn(); f.Wrap && turn > 0 {
		v = float64(WrapAngle(float64(v/turn*2*math.Pi)) / (2 * math.Pi) * turn)
	}
	return v
}

// value returns a feature that a window alone determines; 0 for others.
func (f *FrontEnd) value(feature *Feature, a *Analysis, channel *Channel) float64 {
	n := f.Sampling.Samples
	switch d := feature.Definition; d.Kind {
	case Level:
		return a.Level
	case Trend:
		return a.Trend
	case Minimum:
		return a.Minimum
	case Maximum:
		return a.Maximum
	case Swing:
		return a.Maximum - a.Minimum
	case RMS:
		return a.RMS
	case Ripple:
		return a.Ripple
	case Amplitude:
		return a.Amplitude(d.Order, n)
	case Phase:
		return f.angle(a, d.Order, channel)
	case Distortion:
		if a.Amplitude(1, n) < channel.Floor {
			return 0
		}
		return a.Distortion(d.Order, n)
	}
	return 0
}

// angle returns the phase of a harmonic, 0 where its amplitude is below the floor.
func (f *FrontEnd) angle(a *Analysis, order int, channel *Channel) float64 {
	if a.Amplitude(order, f.Sampling.Samples) < channel.Floor {
		return 0
	}
	return a.Angle(order)
}

// WrapAngle brings an angle into (-π, π].
func WrapAngle(v float64) float64 {
	v -= float64(2 * math.Pi * math.Floor((v+math.Pi)/(2*math.Pi)))
	if v <= -math.Pi {
		return math.Pi
	}
	return v
}

// baseline follows what a level is compared with.
type baseline struct {
	channel *Channel
	upTo    int     // steps that a baseline in seconds takes
	sum     float64 // of levels
	steps   int
	value   float64 // at the last step
}

func (f *FrontEnd) newBaseline(c *Channel) *baseline {
	return &baseline{channel: c, upTo: c.Baseline.steps(f.Sampling.Period)}
}

// steps returns how many steps begin before the time of a baseline is over, by their number and not
// by their times, which are rounded; 0 of a baseline that is a number.
func (b Baseline) steps(period float64) int {
	const rounding = 1e-6 // of a step
	return int(math.Ceil(b.Seconds/period - rounding))
}

// relative returns how far the level of a step is from the baseline.
func (b *baseline) relative(step int, level float64) float64 {
	b.value = b.channel.Baseline.Value
	if b.upTo > 0 {
		if step < b.upTo {
			b.sum += level
			b.steps++
		}
		b.value = b.sum / float64(b.steps)
	}
	if math.Abs(b.value) < b.channel.Floor {
		return 0
	}
	return (level - b.value) / b.value
}
