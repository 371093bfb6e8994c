package frontend

import (
	"math"
	"slices"
)

// Shape is what memory and time of a front end in integers follow from.
type Shape struct {
	Samples  int            // of a window
	Channels []ChannelShape // that are sampled
	Features []Kind         // in their order
}

// ChannelShape is what a channel adds up of its samples, and what is made of that when a window is
// full.
type ChannelShape struct {
	// Sums into which samples are folded, see [Fold]; 0: no feature needs a line.
	Folded   int
	WideSums bool  // a folded sum takes 32 bits, not 16
	Lines    []int // harmonics of which a line is made, ascending
	WideLine bool  // a line takes 64 bits, not 32

	Sum       bool // of all samples; made of the folded sums where there are any
	Squares   bool
	Ramp      bool // the sums so far, added up
	Low, High bool
	Before    bool // the sum of the window before
	Base      bool // sums that a baseline in seconds takes
}

// Only returns the front end of some features, by index, and of the channels that these need. The
// indices of channels are those of the front end that is returned.
func (f *FrontEnd) Only(features []int) *FrontEnd {
	kept := &FrontEnd{Sampling: f.Sampling}
	moved := make([]int, len(f.Channels))
	for c := range f.Channels {
		moved[c] = -1
		if slices.ContainsFunc(features, func(i int) bool { return f.Features[i].needs(c) }) {
			moved[c] = len(kept.Channels)
			kept.Channels = append(kept.Channels, f.Channels[c])
		}
	}
	for _, i := range features {
		feature := f.Features[i]
		feature.Channel = moved[feature.Channel]
		if feature.Definition.Other != "" {
			feature.Other = moved[feature.Other]
		}
		kept.Features = append(kept.Features, feature)
	}
	return kept
}

// needs reports whether a feature is computed from samples of a channel.
func (f *Feature) needs(channel int) bool {
	return f.Channel == channel || f.Definition.Other != "" && f.Other == channel
}

// Shape returns the shape of the front end. Every channel has a feature that needs it.
func (f *FrontEnd) Shape() Shape {
	s := Shape{Samples: f.Sampling.Samples, Channels: make([]ChannelShape, len(f.Channels))}
	for c := range f.Channels {
		of := &s.Channels[c]
		if of.Lines = f.lines(c); len(of.Lines) > 0 {
			fold := newFold(s.Samples, &f.Channels[c], of.Lines)
			of.Folded, of.WideLine = fold.Length, fold.Wide
			of.WideSums = fold.Each<<(f.Channels[c].Converter.Bits-1) > math.MaxInt16
		}
	}
	for i := range f.Features {
		feature := &f.Features[i]
		s.Features = append(s.Features, feature.Definition.Kind)
		s.Channels[feature.Channel].take(feature.Definition.Kind, &f.Channels[feature.Channel])
	}
	return s
}

// take notes what a feature of a kind needs of its channel beside lines.
func (s *ChannelShape) take(k Kind, c *Channel) {
	switch k {
	case Level:
		s.Sum = true
	case Relative:
		s.Sum = true
		s.Base = s.Base || c.Baseline.Seconds > 0
	case Slope:
		s.Sum, s.Before = true, true
	case Trend:
		s.Sum, s.Ramp = true, true
	case RMS, Ripple:
		s.Sum, s.Squares = true, true
	case Minimum:
		s.Low = true
	case Maximum:
		s.High = true
	case Swing:
		s.Low, s.High = true, true
	}
}

// StateBytes returns the size of what a front end keeps: name_front of the emitted C.
func (s *Shape) StateBytes() int {
	bytes := 4 // position in the window and whether it is full
	for _, c := range s.Channels {
		bytes += c.stateBytes()
	}
	const align = 4
	return (bytes + align - 1) / align * align
}

// stateBytes returns what a channel keeps.
func (c *ChannelShape) stateBytes() int {
	bytes := 2 * c.Folded
	if c.WideSums {
		bytes = 4 * c.Folded
	}
	for _, kept := range []struct {
		is    bool
		bytes int
	}{{c.Sum && c.Folded == 0, 4}, {c.Squares, 8}, {c.Ramp, 4}, {c.Low, 2}, {c.High, 2},
		{c.Before, 4}, {c.Base, 8}} {
		if kept.is {
			bytes += kept.bytes
		}
	}
	return bytes
}

// TableBytes returns the size of the constant tables of a front end.
func (s *Shape) TableBytes() int {
	bytes := 0
	for _, c := range s.Channels {
		bytes += 2 * 2 * c.Folded // cosine and sine
	}
	return bytes
}
