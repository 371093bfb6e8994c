package frontend

import (
	"math"
	"math/bits"
)

// Encoding is how a network takes a feature: round((value - Mean)/Std·2^FractionBits) in 16 bits.
type Encoding struct {
	Mean, Std    float64
	FractionBits int
}

// Integer computes features in integers from codes of the converters, as the C does.
type Integer struct {
	Front    *FrontEnd
	Channels []IntegerChannel // of Front, in its order
	Features []IntegerFeature // of Front, in its order
}

// IntegerChannel is what a channel keeps. All bounds hold for any codes.
type IntegerChannel struct {
	Bits   int
	Middle int   // code that stands for 0: half of the codes
	Fold   *Fold // nil: no feature needs a line
	Lines  []int // the harmonics that features need, in rising order

	// Of the codes of a window, less Middle, a feature needs the sum, the sum of squares, the sum
	// of the sums so far; the smallest and the largest code; the sum of the window before.
	Sum, Squares, Ramp, Low, High, Before bool

	// Of the features that need them.
	TrendDown  int   // by so many bits the sum of a trend is shifted
	RippleBits int   // fraction bits of what stands for a ripple
	RMSBits    int   // fraction bits of a code less the code of physical zero
	RMSZero    int64 // middle less physical zero, with RMSBits
	BaseSteps  int   // of a baseline in seconds; 0: none
	BaseZero   int64 // N times middle less physical zero
	BaseFloor  int64 // N times the floor, in codes
}

// IntegerFeature is a feature as a whole number that is scaled to what the network takes.
type IntegerFeature struct {
	Scaling Scaling
	Floor   uint32 // length of the line below which it is 0
	Floor2  uint32 // the same of the other channel
	Turned  uint32 // of an angle, added before it is wrapped

	unit, zero float64 // what 1 and 0 stand for, as it would be recorded
}

// sampleBits bounds whole numbers that features are made of: they are below 2^30.
const sampleBits = 30

// NewInteger returns the front end in integers, with an encoding for each feature.
func NewInteger(f *FrontEnd, encodings []Encoding) *Integer {
	n := &Integer{Front: f}
	for i := range f.Channels {
		n.Channels = append(n.Channels, n.integerChannel(i))
	}
	for i := range f.Features {
		n.Features = append(n.Features, n.integerFeature(i, encodings[i]))
	}
	return n
}

// integerChannel returns what channel number i keeps.
func (n *Integer) integerChannel(i int) IntegerChannel {
	c := &n.Front.Channels[i]
	samples := float64(n.Front.Sampling.Samples)
	made := IntegerChannel{Bits: c.Converter.Bits, Middle: 1 << (c.Converter.Bits - 1),
		Lines: n.Front.lines(i)}
	if len(made.Lines) > 0 {
		made.Fold = newFold(n.Front.Sampling.Samples, c)
	}
	for k := range n.Front.Features {
		if n.Front.Features[k].Channel != i {
			continue
		}
		switch n.Front.Features[k].Definition.Kind {
		case Level:
			made.Sum = true
		case RMS, Ripple:
			made.Sum, made.Squares = true, true
		case Trend:
			made.Sum, made.Ramp = true, true
		case Minimum:
			made.Low = true
		case Maximum:
			made.High = true
		case Swing:
			made.Low, made.High = true, true
		case Slope:
			made.Sum, made.Before = true, true
		case Relative:
			made.Sum, made.BaseSteps = true, c.Baseline.steps(n.Front.Sampling.Period)
		}
	}
	half := float64(made.Middle)
	// Σ|2n - (N-1)| is N²/2 at most.
	made.TrendDown = max(0, bitsOf(half*samples*samples/2)-sampleBits)
	made.RippleBits = min(mostRootBits, max(0, sampleBits-bitsOf(half*samples)))
	zero := n.fromZero(i)
	most := math.Sqrt(samples) * (math.Abs(zero) + half)
	made.RMSBits = min(mostRootBits, max(0, sampleBits-bitsOf(most)))
	made.RMSZero = int64(math.Round(math.Ldexp(zero, made.RMSBits)))
	made.BaseZero = int64(min(max(math.Round(zero*samples), -math.MaxInt32), math.MaxInt32))
	made.BaseFloor = int64(min(math.Ceil(c.Floor/c.Converter.Step()*samples), math.MaxInt32))
	return made
}

// KeepsSum reports whether the sum is kept by itself: it is also that of the sums of a fold.
func (c *IntegerChannel) KeepsSum() bool { return c.Sum && (c.Fold == nil || c.Ramp) }

// wordFor returns how many bits a signed number has, 16, 32 or 64, that is at most v to either
// side.
func wordFor(v float64) int {
	for _, bits := range []int{16, 32} {
		if v < math.Ldexp(1, bits-1) {
			return bits
		}
	}
	return 64
}

// SumBits returns how many bits a sum of the fold has. Sums whose factors differ in their sign
// alone are added and subtracted in place: up to four of them.
func (c *IntegerChannel) SumBits() int {
	// 4·Each codes at an end add up to -4·Each·Middle, which a signed word may just hold
	return wordFor(float64(4*c.Fold.Each*c.Middle) - 0.5)
}

// SquaresBits returns how many bits the sum of N squares has, 32 or 64.
func (c *IntegerChannel) SquaresBits(samples int) int {
	return max(32, wordFor(float64(samples*c.Middle)*float64(c.Middle)/2))
}

// RampBits returns how many bits the sum of sums has, 32 or 64, also times 2 and with (N+1) sums.
func (c *IntegerChannel) RampBits(samples int) int {
	return max(32, wordFor(float64(samples*(samples+1))*float64(2*c.Middle)))
}

// BaseBits returns how many bits the total of a baseline has, 32 or 64.
func (c *IntegerChannel) BaseBits(samples int) int {
	return max(32, wordFor(float64(samples*c.Middle)*float64(c.BaseSteps)))
}

// RelativeBits returns how many bits the products hold that a feature relative to a baseline in
// seconds is made of, 32 or 64.
func (c *IntegerChannel) RelativeBits(samples int) int {
	sums := float64(float64(samples*c.Middle) * float64(c.BaseSteps))
	zero := float64(math.Abs(float64(c.BaseZero)) * float64(c.BaseSteps))
	floor := float64(c.BaseFloor) * float64(c.BaseSteps)
	return max(32, wordFor(max(2*sums, sums+zero, floor)))
}

// MostSteps returns how many steps from the start are told apart; 0: none.
func (n *Integer) MostSteps() int {
	most := 0
	for i := range n.Channels {
		most = max(most, n.Channels[i].BaseSteps)
		if n.Channels[i].Before {
			most = max(most, 1)
		}
	}
	return most
}

// bitsOf returns how many bits whole numbers up to v have, for v of 1 or more.
func bitsOf(v float64) int { return math.Ilogb(v) + 1 }

// fromZero returns how many steps the middle of the codes is from physical zero.
func (n *Integer) fromZero(channel int) float64 {
	c := n.Front.Channels[channel].Converter
	return c.Low/c.Step() + float64(int(1)<<(c.Bits-1))
}

// integerFeature returns how feature number i is made of its whole number.
func (n *Integer) integerFeature(i int, e Encoding) IntegerFeature {
	feature := &n.Front.Features[i]
	channel, own := &n.Front.Channels[feature.Channel], &n.Channels[feature.Channel]
	converter, s := channel.Converter, n.Front.Sampling
	samples := float64(s.Samples)
	units := math.Ldexp(1, e.FractionBits) / e.Std // of x in a unit of the feature
	var made IntegerFeature
	// of a whole number that counts units of what is computed from a zero
	scaling := func(unit, zero float64) Scaling {
		made.unit, made.zero = feature.Scale*unit, float64(feature.Scale*zero)+feature.Offset
		return NewScaling(made.unit*units, (made.zero-e.Mean)*units)
	}
	step := converter.Step()
	middle := converter.Low + float64(step*float64(own.Middle))
	switch feature.Definition.Kind {
	case Level:
		made.Scaling = scaling(step/samples, middle)
	case Slope:
		made.Scaling = scaling(step/(samples*s.Period), 0)
	case Trend:
		unit := 6 * step * s.Rate / (samples * (float64(samples*samples) - 1))
		made.Scaling = scaling(math.Ldexp(unit, own.TrendDown), 0)
	case Minimum, Maximum:
		made.Scaling = scaling(step, converter.Low)
	case Swing:
		made.Scaling = scaling(step, 0)
	case Ripple:
		made.Scaling = scaling(math.Ldexp(step/samples, -own.RippleBits), 0)
	case RMS:
		made.Scaling = scaling(math.Ldexp(step/math.Sqrt(samples), -own.RMSBits), 0)
	case Amplitude:
		made.Scaling = scaling(n.lengthUnit(feature.Channel), 0)
	case Phase:
		made.Scaling = scaling(2*math.Pi/(1<<angleBits), 0)
		if feature.Wrap {
			turn := feature.Offset / (2 * math.Pi * feature.Scale)
			made.Turned = uint32(int64(math.Round(math.Ldexp(turn-math.Round(turn), 32))))
			made.unit, made.zero = feature.Scale*2*math.Pi/(1<<angleBits), 0
			made.Scaling = NewScaling(made.unit*units, -e.Mean*units)
		}
		made.Floor = n.LengthFloor(feature.Channel)
		if feature.Definition.Other != "" {
			made.Floor2 = n.LengthFloor(feature.Other)
		}
	case Distortion:
		made.Scaling = scaling(100./(1<<ratioBits), 0)
		made.Floor = n.LengthFloor(feature.Channel)
	case Relative:
		if own.BaseSteps > 0 {
			made.Scaling = scaling(1./(1<<ratioBits), 0)
		} else {
			b := channel.Baseline.Value
			made.Scaling = scaling(step/(samples*b), (middle-b)/b)
		}
	}
	return made
}

const (
	angleBits    = 30 // fraction bits of a turn in what stands for an angle
	mostRootBits = 6  // fraction bits of roots: a hundredth of a code and less
)

// lengthUnit returns the amplitude, in the unit of the channel, that 1 stands for in the length of
// a line.
func (n *Integer) lengthUnit(channel int) float64 {
	f := n.Channels[channel].Fold
	step := n.Front.Channels[channel].Converter.Step()
	return math.Ldexp(2*step/float64(n.Front.Sampling.Samples)/(float64(f.Scale)*turnGain), f.Down)
}

// LengthFloor returns the floor of a channel as the length of a line.
func (n *Integer) LengthFloor(channel int) uint32 {
	floor := math.Ceil(n.Front.Channels[channel].Floor / n.lengthUnit(channel))
	return uint32(min(floor, math.MaxUint32))
}

// windowSums are what a channel keeps of a window; d is a code less the middle.
type windowSums struct {
	sum       int64 // of d
	squares   int64 // of d²
	ramp      int64 // of the sums so far
	low, high int64 // codes
	lengths   []uint32
	angles    []int32
}

// sums takes the codes of a window. Lengths and angles stand at the number of their harmonic.
func (c *IntegerChannel) sums(codes []uint16, folded []int32) windowSums {
	s := windowSums{low: math.MaxUint16}
	clear(folded)
	for i, code := range codes {
		d := int64(code) - int64(c.Middle)
		s.sum += d
		s.squares += d * d
		s.ramp += s.sum
		s.low, s.high = min(s.low, int64(code)), max(s.high, int64(code))
		if c.Fold != nil {
			folded[i%c.Fold.Length] += int32(d)
		}
	}
	if c.Fold != nil {
		highest := c.Lines[len(c.Lines)-1]
		s.lengths, s.angles = make([]uint32, highest+1), make([]int32, highest+1)
		for _, k := range c.Lines {
			magnitude, shift, angle := polar(c.Fold.line(folded, k))
			s.lengths[k], s.angles[k] = shifted(magnitude, shift+c.Fold.Down), angle
		}
	}
	return s
}

// past is what a channel keeps of earlier windows.
type past struct {
	before    int64 // sum of the window before
	steps     int64 // so far; no more than BaseSteps are counted
	baseTotal int64 // of the sums of the first BaseSteps windows
}

// Encode returns what the network takes for every feature at every step of codes, which are laid
// out as [dataset.Samples.X] is: per channel, Samples for each step.
func (n *Integer) Encode(codes [][]uint16, steps int) [][]int16 {
	numbers, x := n.Numbers(codes, steps), make([][]int16, steps)
	for step := range x {
		x[step] = make([]int16, len(n.Features))
		for i := range n.Features {
			x[step][i] = n.X(i, numbers[step*len(n.Features)+i])
		}
	}
	return x
}

// Numbers returns the whole numbers that features are made of at every step of codes, see
// [Integer.Encode]: [steps × features]. They depend neither on encodings nor on the other features.
func (n *Integer) Numbers(codes [][]uint16, steps int) []int32 {
	numbers := make([]int32, 0, steps*len(n.Features))
	pasts := make([]past, len(n.Channels))
	sums := make([]windowSums, len(n.Channels))
	folded := make([][]int32, len(n.Channels))
	for c := range n.Channels {
		if fold := n.Channels[c].Fold; fold != nil {
			folded[c] = make([]int32, fold.Length)
		}
	}
	for step := range steps {
		for c := range n.Channels {
			at := step * n.Front.Sampling.Samples
			window := codes[c][at : at+n.Front.Sampling.Samples]
			sums[c] = n.Channels[c].sums(window, folded[c])
			p := &pasts[c]
			if step == 0 {
				p.before = sums[c].sum
			}
			if p.steps < int64(n.Channels[c].BaseSteps) {
				p.steps++
				p.baseTotal += sums[c].sum
			}
		}
		for i := range n.Features {
			numbers = append(numbers, n.number(i, sums, pasts))
		}
		for c := range n.Channels {
			pasts[c].before = sums[c].sum
		}
	}
	return numbers
}

// WithEncodings returns the same front end with other encodings, one for each feature.
func (n *Integer) WithEncodings(encodings []Encoding) *Integer {
	other := *n
	other.Features = nil
	for i := range n.Features {
		other.Features = append(other.Features, other.integerFeature(i, encodings[i]))
	}
	return &other
}

// X returns what the network takes for feature number i whose whole number is v.
func (n *Integer) X(i int, v int32) int16 { return n.Features[i].Scaling.X(v) }

// Value returns what the whole number v of feature number i stands for, as it would be recorded.
func (n *Integer) Value(i int, v int32) float64 {
	f := &n.Features[i]
	return float64(f.unit*float64(v)) + f.zero
}

// number returns the whole number that a feature is made of.
func (n *Integer) number(i int, sums []windowSums, pasts []past) int32 {
	feature, made := &n.Front.Features[i], &n.Features[i]
	channel, s := &n.Channels[feature.Channel], &sums[feature.Channel]
	samples, order := int64(n.Front.Sampling.Samples), feature.Definition.Order
	switch feature.Definition.Kind {
	case Slope:
		return int32(s.sum - pasts[feature.Channel].before)
	case Trend:
		return int32(((samples+1)*s.sum - 2*s.ramp) >> channel.TrendDown)
	case Minimum:
		return int32(s.low)
	case Maximum:
		return int32(s.high)
	case Swing:
		return int32(s.high - s.low)
	case Ripple:
		return int32(root(uint64(samples*s.squares-s.sum*s.sum) << (2 * channel.RippleBits)))
	case RMS:
		down := channel.RMSBits
		zero := channel.RMSZero
		total := s.squares<<(2*down) + 2*zero*(s.sum<<down) + samples*zero*zero
		return int32(root(uint64(max(0, total))))
	case Amplitude:
		return int32(s.lengths[order])
	case Phase:
		angle := uint32(0)
		if s.lengths[order] >= made.Floor {
			angle = uint32(s.angles[order])
		}
		if feature.Definition.Other != "" && sums[feature.Other].lengths[order] >= made.Floor2 {
			angle -= uint32(sums[feature.Other].angles[order])
		}
		return notMinusPi(int32(angle+made.Turned)) >> (32 - angleBits)
	case Distortion:
		if s.lengths[1] < made.Floor {
			return 0
		}
		return ratio(lengthOf(s.lengths[2:order+1]), s.lengths[1])
	case Relative:
		if channel.BaseSteps > 0 {
			return channel.relative(s.sum, &pasts[feature.Channel])
		}
	}
	return int32(s.sum)
}

// lengthOf returns the root of the sum of squares of the lengths of lines, in as many bits of the
// largest as fit 32 bits with their squares added up.
func lengthOf(lengths []uint32) uint32 {
	most := uint32(0)
	for _, l := range lengths {
		most |= l
	}
	down := max(0, bits.Len32(most)-(32-bits.Len(uint(len(lengths))))/2)
	squares := uint32(0)
	for _, l := range lengths {
		squares += (l >> down) * (l >> down)
	}
	return root32(squares) << down
}

// relative returns how far the sum of a window is from the baseline, as a [ratio].
func (c *IntegerChannel) relative(sum int64, p *past) int32 {
	base := p.baseTotal + p.steps*c.BaseZero
	apart := p.steps*sum - p.baseTotal
	size, distance := uint64(max(base, -base)), uint64(max(apart, -apart))
	if size == 0 || size < uint64(p.steps*c.BaseFloor) {
		return 0
	}
	down := max(0, bits.Len64(size|distance)-32)
	far := ratio(uint32(distance>>down), uint32(size>>down))
	if (base < 0) != (apart < 0) {
		return -far
	}
	return far
}
