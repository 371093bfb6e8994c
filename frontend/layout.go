package frontend

import (
	"cmp"
	"fmt"
	"slices"
)

// Member is what is kept between two samples: a member of the struct in C.
type Member struct {
	Kind    Kept
	Channel int  // of the front end; -1: of all
	Bits    int  // of one
	Signed  bool //
	Count   int  // 1: no array
}

// Kept is what a member holds.
type Kept string

// What members hold; d is a code less the middle of the codes.
const (
	KeptFold    Kept = "fold"    // sums of d, see [Fold]
	KeptSum     Kept = "sum"     // of d
	KeptSquares Kept = "squares" // sum of d²
	KeptRamp    Kept = "ramp"    // sum of the sums so far
	KeptLow     Kept = "low"     // smallest code
	KeptHigh    Kept = "high"    // largest code
	KeptBefore  Kept = "before"  // sum of the window before
	KeptBase    Kept = "base"    // sum over the steps of a baseline
	KeptSteps   Kept = "steps"   // since the reset, as far as they are told apart
	KeptTaken   Kept = "taken"   // samples of the window
	KeptPlace   Kept = "at"      // next sum of folds whose length is no power of two; Count is 1
	KeptFull    Kept = "full"    // whether the window is full
	KeptFiller  Kept = "filler"  // makes the size the same for every compiler
)

// Members returns what is kept, the narrowest first, because short instructions reach no further
// than the first members; fillers stand where compilers would leave a gap.
func (n *Integer) Members() []Member {
	var all []Member
	samples := n.Front.Sampling.Samples
	for i := range n.Channels {
		c := &n.Channels[i]
		add := func(is bool, kind Kept, bits func() int, signed bool) {
			if is {
				all = append(all, Member{kind, i, bits(), signed, 1})
			}
		}
		word := func(bits int) func() int { return func() int { return bits } }
		if c.Fold != nil {
			all = append(all, Member{KeptFold, i, c.SumBits(), true, c.Fold.Length})
		}
		add(c.KeepsSum(), KeptSum, word(32), true)
		add(c.Squares, KeptSquares, func() int { return c.SquaresBits(samples) }, false)
		add(c.Ramp, KeptRamp, func() int { return c.RampBits(samples) }, true)
		add(c.Low, KeptLow, word(16), false)
		add(c.High, KeptHigh, word(16), false)
		add(c.Before, KeptBefore, word(32), true)
		add(c.BaseSteps > 0, KeptBase, func() int { return c.BaseBits(samples) }, true)
	}
	if n.MostSteps() > 0 {
		all = append(all, Member{KeptSteps, -1, 32, false, 1})
	}
	counter := 8
	if samples > 255 {
		counter = 16
	}
	all = append(all, Member{KeptFull, -1, 8, false, 1}, Member{KeptTaken, -1, counter, false, 1})
	for range n.Places() {
		all = append(all, Member{KeptPlace, -1, counter, false, 1})
	}
	slices.SortStableFunc(all, func(a, b Member) int {
		return cmp.Or(a.Bits-b.Bits, a.Count-b.Count, a.Channel-b.Channel)
	})
	var filled []Member
	for _, m := range all {
		if gap := -bytesOf(filled) & (m.Bits/8 - 1); gap > 0 {
			filled = append(filled, Member{KeptFiller, -1, 8, false, gap})
		}
		filled = append(filled, m)
	}
	if gap := -bytesOf(filled) & (filled[len(filled)-1].Bits/8 - 1); gap > 0 {
		filled = append(filled, Member{KeptFiller, -1, 8, false, gap})
	}
	return filled
}

// Type returns the type of a member in C.
func (m *Member) Type() string {
	if m.Signed {
		return fmt.Sprintf("int%d_t", m.Bits)
	}
	return fmt.Sprintf("uint%d_t", m.Bits)
}

// bytesOf returns the size of members.
func bytesOf(all []Member) int {
	bytes := 0
	for _, m := range all {
		bytes += m.Bits / 8 * m.Count
	}
	return bytes
}

// StateBytes returns the size of what is kept, which is the same for every compiler.
func (n *Integer) StateBytes() int { return bytesOf(n.Members()) }

// Places returns the lengths of folds that are no power of two: each has a counter of its own,
// because the place of a sample does not follow from its number by a mask.
func (n *Integer) Places() []int {
	var all []int
	for i := range n.Channels {
		if f := n.Channels[i].Fold; f != nil && f.Length&(f.Length-1) != 0 &&
			!slices.Contains(all, f.Length) {
			all = append(all, f.Length)
		}
	}
	return all
}

// Shapes returns the channel of each shape of folds: channels whose folds have one shape share its
// table and its code. of has the number of the shape of every channel, -1 without a fold.
func (n *Integer) Shapes() (first, of []int) {
	for i := range n.Channels {
		c := &n.Channels[i]
		of = append(of, -1)
		if c.Fold == nil {
			continue
		}
		same := func(other int) bool {
			o := &n.Channels[other]
			return o.Fold.Length == c.Fold.Length && o.Fold.Stride == c.Fold.Stride &&
				o.Fold.Scale == c.Fold.Scale && o.Fold.Down == c.Fold.Down &&
				o.Fold.Wide == c.Fold.Wide && o.SumBits() == c.SumBits()
		}
		of[i] = slices.IndexFunc(first, same)
		if of[i] < 0 {
			of[i] = len(first)
			first = append(first, i)
		}
	}
	return first, of
}

// FarFeatures is from how many features of a network on the place of one takes 16 bits.
const FarFeatures = 257

// scaleBytes returns what bringing one feature to x takes of constants, with the place in x.
func scaleBytes(features int) int {
	if features >= FarFeatures {
		return 20
	}
	return 16
}

// TableBytes returns the size of the constants: the table of each shape of folds, the lists of
// harmonics, the angles that vectors are turned by, and what brings features to x, also so many
// that are given.
func (n *Integer) TableBytes(given int) int {
	first, _ := n.Shapes()
	features := len(n.Features) + given
	bytes := features * scaleBytes(features)
	if len(first) > 0 {
		bytes += 4 * turns
	}
	for _, i := range first {
		bytes += 2 * n.Channels[i].Fold.TableLength()
	}
	lists, _ := n.LineLists()
	for _, list := range lists {
		bytes += n.ListedBytes() * (len(list) + 1)
	}
	return bytes
}

// TableLength returns how many sines and cosines a fold has. Where a quarter of a turn is a whole
// number of places the cosines are sines further on.
func (f *Fold) TableLength() int {
	if f.Length%4 == 0 {
		return f.Length + f.Length/4
	}
	return 2 * f.Length
}

// Only returns the front end of some features, by index, and of the channels that these need. The
// indices of channels are those of the front end that is returned.
func (f *FrontEnd) Only(features []int) *FrontEnd {
	kept := &FrontEnd{Sampling: f.Sampling}
	moved := make([]int, len(f.Channels))
	for c := range f.Channels {
		moved[c] = -1
		if slices.ContainsFunc(features, func(i int) bool { return f.Features[i].Needs(c) }) {
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

// Needs reports whether a feature is computed from samples of a channel.
func (f *Feature) Needs(channel int) bool {
	return f.Channel == channel || f.Definition.Other != "" && f.Other == channel
}

// Listed is a line that a channel needs.
type Listed struct {
	Harmonic int
	Angle    bool // as well as the length
}

// listed returns the lines of a channel, in rising order.
func (n *Integer) listed(channel int) []Listed {
	angles := map[int]bool{}
	for i := range n.Front.Features {
		f := &n.Front.Features[i]
		if f.Definition.Kind == Phase && f.Needs(channel) {
			angles[f.Definition.Order] = true
		}
	}
	var all []Listed
	for _, k := range n.Channels[channel].Lines {
		all = append(all, Listed{k, angles[k]})
	}
	return all
}

// LineLists returns the lists of lines: channels that need the same ones share a list. of has the
// number of the list of every channel, -1 without lines.
func (n *Integer) LineLists() (lists [][]Listed, of []int) {
	for i := range n.Channels {
		list := n.listed(i)
		same := func(other []Listed) bool { return slices.Equal(list, other) }
		at := slices.IndexFunc(lists, same)
		switch {
		case len(list) == 0:
			at = -1
		case at < 0:
			at, lists = len(lists), append(lists, list)
		}
		of = append(of, at)
	}
	return lists, of
}

// ListedBytes returns how many bytes a harmonic in a list has: one bit says whether the angle is
// needed.
func (n *Integer) ListedBytes() int {
	for i := range n.Channels {
		if lines := n.Channels[i].Lines; len(lines) > 0 && lines[len(lines)-1] > 127 {
			return 2
		}
	}
	return 1
}
