package frontend

import (
	"math/bits"
	"slices"
)

// Shape is what memory and time of a front end in integers follow from.
type Shape struct {
	Samples   int            // of a window
	Channels  []ChannelShape // that are sampled
	Features  []FeatureShape // in their order
	MostSteps int            // as [Integer.MostSteps]
}

// ChannelShape is what a channel keeps of its samples, and what is made of that when a window is
// full. Words are widths in bits; 0: not kept.
type ChannelShape struct {
	Fold    FoldShape
	Sum     bool // a feature needs the sum of all samples
	SumWord int  // of that sum, where it is not made of the sums of a fold
	Squares int
	Ramp    int
	Ends    bool // the smallest and the largest code
	Before  bool // the sum of the window before
	Base    int  // the total of a baseline in seconds
}

// FoldShape is the shape of a [Fold]. Channels of equal ones share code and tables.
type FoldShape struct {
	Length  int // of the sums; 0: no feature needs a line
	Stride  int
	SumWord int   // of a sum, in bits: 16 or 32
	Wide    bool  // of 64 bits
	Scale   int   // of the table
	Down    int   // as [Fold.Down]
	Lines   []int // harmonics, ascending
}

// FeatureShape is what one feature takes when a window is full.
type FeatureShape struct {
	Kind    Kind
	Channel int
	Lines   int  // of a distortion: those besides the first
	IsPair  bool // a phase that another one is taken off
	IsMean  bool // of Relative: compared with a mean over time
}

// Only returns the front end of some features, by index, and of the channels that these need. The
// indices of channels are those of the front end that is returned.
func (f *FrontEnd) Only(features []int) *FrontEnd {
	kept := &FrontEnd{Sampling: f.Sampling}
	moved := make([]int, len(f.Channels))
	for c := range f.Channels {
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
	n := &Integer{Front: f}
	s := Shape{Samples: f.Sampling.Samples}
	for i := range f.Channels {
		c := n.integerChannel(i)
		n.Channels = append(n.Channels, c)
		s.Channels = append(s.Channels, c.shape(s.Samples))
	}
	for i := range f.Features {
		d, c := f.Features[i].Definition, f.Features[i].Channel
		of := FeatureShape{Kind: d.Kind, Channel: c, IsPair: d.Other != "",
			IsMean: d.Kind == Relative && n.Channels[c].BaseSteps > 0}
		if d.Kind == Distortion {
			of.Lines = d.Order - 1
		}
		s.Features = append(s.Features, of)
	}
	s.MostSteps = n.MostSteps()
	return s
}

// shape returns what the channel keeps of windows of so many samples.
func (c *IntegerChannel) shape(samples int) ChannelShape {
	s := ChannelShape{Sum: c.Sum, Ends: c.Ends, Before: c.Before}
	if f := c.Fold; f != nil {
		s.Fold = FoldShape{Length: f.Length, Stride: f.Stride, SumWord: c.SumBits(), Wide: f.Wide,
			Scale: f.Scale, Down: f.Down, Lines: c.Lines}
	}
	if c.KeepsSum() {
		s.SumWord = 32
	}
	if c.Squares {
		s.Squares = c.SquaresBits(samples)
	}
	if c.Ramp {
		s.Ramp = c.RampBits(samples)
	}
	if c.BaseSteps > 0 {
		s.Base = c.BaseBits(samples)
	}
	return s
}

// Pairs returns how many sums are added and subtracted before lines are made: samples of which the
// factors differ in their sign alone.
func (f *FoldShape) Pairs() int {
	if f.Length%2 > 0 {
		return (f.Length - 1) / 2
	}
	span := f.Length / 2
	return span + 2*((span-1)/2)
}

// Products returns how many products of sums with a sine and with a cosine a line takes, and
// whether a single one more.
func (f *FoldShape) Products() (pairs int, hasCentre bool) {
	span := f.Length
	if f.Length%2 == 0 {
		span /= 2
	}
	return (span+1)/2 - 1, f.Length%2 == 0 && span%2 == 0
}

// isSame reports whether two folds share code and tables.
func (f *FoldShape) isSame(g *FoldShape) bool {
	return f.Length == g.Length && f.Stride == g.Stride && f.SumWord == g.SumWord &&
		f.Wide == g.Wide && f.Scale == g.Scale && f.Down == g.Down
}

// Folds lists the folds of unlike shape, with the lines of all channels that have it.
func (s *Shape) Folds() []FoldShape {
	var all []FoldShape
	for i := range s.Channels {
		f := s.Channels[i].Fold
		if f.Length == 0 {
			continue
		}
		f.Lines = slices.Clone(f.Lines)
		if at := slices.IndexFunc(all, func(g FoldShape) bool { return g.isSame(&f) }); at >= 0 {
			all[at].Lines = append(all[at].Lines, f.Lines...)
			continue
		}
		all = append(all, f)
	}
	return all
}

// Places lists the lengths of folds in which the place of a sample needs a counter of its own, since
// it does not follow from the number of the sample by a mask.
func (s *Shape) Places() []int {
	var all []int
	for _, f := range s.Folds() {
		if bits.OnesCount(uint(f.Length)) > 1 && !slices.Contains(all, f.Length) {
			all = append(all, f.Length)
		}
	}
	return all
}

// StateBytes returns the size of what a front end keeps: name_front of the emitted C.
func (s *Shape) StateBytes() int {
	sum, widest := 0, 1
	add := func(word, count int) {
		if word > 0 && count > 0 {
			sum, widest = sum+word/8*count, max(widest, word/8)
		}
	}
	for i := range s.Channels {
		c := &s.Channels[i]
		add(c.Fold.SumWord, c.Fold.Length)
		add(c.SumWord, 1)
		add(c.Squares, 1)
		add(c.Ramp, 1)
		if c.Ends {
			add(16, 2)
		}
		if c.Before {
			add(32, 1)
		}
		add(c.Base, 1)
	}
	if s.MostSteps > 0 {
		add(32, 1)
	}
	add(s.CounterWord(), 1)
	add(16, len(s.Places()))
	add(8, 1) // full
	return (sum + widest - 1) / widest * widest
}

// CounterWord returns the width of what counts the samples of a window, in bits.
func (s *Shape) CounterWord() int {
	if s.Samples < 256 {
		return 8
	}
	return 16
}

// TableBytes returns the size of the constants of a front end: a turn of sines for every shape of
// folds, the angles of a polar, and what scales each feature that is computed and each of the given
// ones.
func (s *Shape) TableBytes(given int) int {
	const (
		scaleBytes = 16
		angleBytes = 4
	)
	sum := scaleBytes * (len(s.Features) + given)
	folds := s.Folds()
	if len(folds) > 0 {
		sum += angleBytes * turns
	}
	for _, f := range folds {
		values := 2 * f.Length // sine and cosine
		if f.Length%4 == 0 {
			values = f.Length + f.Length/4 // the cosine is the sine a quarter of a turn later
		}
		sum += 2 * values
	}
	return sum
}
