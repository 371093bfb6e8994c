package frontend

import (
	"math"
)

// Encoding is how a network takes a feature: round((value - Mean)/Std·2^FractionBits) in 16 bits.
type Encoding struct {
	Mean, Std    float64
	FractionBits int
}

// Integer computes features in integers from codes of the converters, as the C does.
type Integer struct {
	front     *FrontEnd
	encodings []Encoding
	channels  []integerChannel
	features  []integerFeature
}

// integerChannel is what a channel keeps.
type integerChannel struct {
	bits   int
	middle int   // code that stands for 0: half of the codes
	fold   *fold // nil: no feature needs a line
}

// integerFeature is a feature as a whole number that is scaled to what the network takes.
type integerFeature struct {
	scaling scaled
	floor   uint32 // amplitude, see Integer.amplitude, or amount of a baseline, below which it is 0
	turned  uint32 // of an angle, added before it is wrapped
	zero    scaled // of rms: what stands for the value 0
}

// scaled makes x of a whole number v: v less a middle, limited, shifted down and multiplied.
type scaled struct {
	middle     int64
	limit      int64 // of |v - middle|
	down       int
	multiplier int64
	add        int64 // before the last shift, with the half that rounds
	shift      int
}

// multiplierBits and restBits bound the product of a scaled number: 13 and 18 bits with the sign.
const (
	multiplierBits = 13
	restBits       = 17
)

// newScaled returns what makes round(slope·v + offset) of v.
func newScaled(slope, offset float64) scaled {
	s := scaled{middle: int64(math.Round(-offset / slope))}
	rest := offset + slope*float64(s.middle) // at the middle
	s.limit = int64(math.Ceil(float64(math.MaxInt16+1) / math.Abs(slope)))
	for s.limit>>s.down >= 1<<restBits {
		s.down++
	}
	slope = math.Ldexp(slope, s.down)
	s.shift = multiplierBits - math.Ilogb(math.Abs(slope)) - 1
	for s.shift > 0 && math.Abs(math.Ldexp(rest, s.shift)) >= 1<<29 {
		s.shift--
	}
	s.multiplier = int64(math.Round(math.Ldexp(slope, s.shift)))
	s.add = int64(math.Round(math.Ldexp(rest, s.shift)))
	if s.shift > 0 {
		s.add += 1 << (s.shift - 1)
	}
	return s
}

// x returns what the network takes for v.
func (s *scaled) x(v int64) int16 {
	v = min(max(v-s.middle, -s.limit), s.limit)
	if s.down > 0 {
		v = (v + 1<<(s.down-1)) >> s.down
	}
	v = v*s.multiplier + s.add
	if s.shift > 0 {
		v >>= s.shift
	} else {
		v <<= -s.shift
	}
	return int16(min(max(v, math.MinInt16), math.MaxInt16))
}

// NewInteger returns the front end in integers, with an encoding for each feature.
func NewInteger(f *FrontEnd, encodings []Encoding) *Integer {
	n := &Integer{front: f, encodings: encodings}
	for i := range f.Channels {
		c := &f.Channels[i]
		made := integerChannel{bits: c.Converter.Bits, middle: 1 << (c.Converter.Bits - 1)}
		if lines := f.harmonics(i); lines > 0 {
			made.fold = newFold(f.Sampling.Samples, c, lines)
		}
		n.channels = append(n.channels, made)
	}
	for i := range f.Features {
		n.features = append(n.features, n.integerFeature(i))
	}
	return n
}

// integerFeature returns how feature number i is made of its whole number.
func (n *Integer) integerFeature(i int) integerFeature {
	feature, e := &n.front.Features[i], n.encodings[i]
	channel := &n.front.Channels[feature.Channel]
	converter, s := channel.Converter, n.front.Sampling
	samples := float64(s.Samples)
	units := math.Ldexp(1, e.FractionBits) / e.Std // of x in a unit of the feature
	// of a whole number that counts units of what is computed from a zero
	make := func(unit, zero float64) scaled {
		return newScaled(feature.Scale*unit*units,
			(feature.Scale*zero+feature.Offset-e.Mean)*units)
	}
	step := converter.Step()
	middle := converter.Low + float64(step*float64(n.channels[feature.Channel].middle))
	var made integerFeature
	switch feature.Definition.Kind {
	case Level:
		made.scaling = make(step/samples, middle)
	case Slope:
		made.scaling = make(step/(samples*s.Period), 0)
	case Trend:
		made.scaling = make(6*step*s.Rate/(samples*(samples*samples-1)), 0)
	case Minimum, Maximum:
		made.scaling = make(step, converter.Low)
	case Swing:
		made.scaling = make(step, 0)
	case Ripple:
		made.scaling = make(math.Ldexp(step/samples, -rippleBits), 0)
	case RMS:
		made.scaling = make(math.Ldexp(step/math.Sqrt(samples), -n.rmsBits(feature.Channel)), 0)
	case Amplitude:
		made.scaling = make(n.amplitudeUnit(feature.Channel), 0)
	case Phase:
		made.scaling = make(2*math.Pi/(1<<angleBits), 0)
		if feature.Wrap {
			turn := feature.Offset / (2 * math.Pi * feature.Scale)
			made.turned = uint32(int64(math.Round(math.Ldexp(turn-math.Round(turn), 32))))
			made.scaling = newScaled(feature.Scale*2*math.Pi/(1<<angleBits)*units,
				-e.Mean*units)
		}
		made.floor = n.amplitudeFloor(feature.Channel)
	case Distortion:
		made.scaling = make(100./(1<<ratioBits), 0)
		made.floor = n.amplitudeFloor(feature.Channel)
	case Relative:
		b := channel.Baseline.Value
		if channel.Baseline.Seconds > 0 {
			made.scaling = make(1./(1<<relativeBits), 0)
		} else {
			made.scaling = make(step/(samples*b), (middle-b)/b)
		}
	}
	return made
}

// Fraction bits of whole numbers that features are made of.
const (
	angleBits    = 30 // a turn, so that a difference of two angles fits 32 bits
	relativeBits = 16
	rippleBits   = 6
)

// amplitudeUnit returns the amplitude, in the unit of the channel, that 1 stands for in what
// [Integer.amplitude] returns.
func (n *Integer) amplitudeUnit(channel int) float64 {
	f := n.channels[channel].fold
	step := n.front.Channels[channel].Converter.Step()
	return math.Ldexp(2*step/float64(n.front.Sampling.Samples)/(float64(f.scale)*turnGain),
		n.channels[channel].down())
}

// amplitudeFloor returns the floor of a channel as an amplitude in integers.
func (n *Integer) amplitudeFloor(channel int) uint32 {
	return uint32(math.Ceil(n.front.Channels[channel].Floor / n.amplitudeUnit(channel)))
}

// down returns by how many bits a sum of a line is shifted so that its length fits 31 bits.
func (c *integerChannel) down() int {
	length := float64(c.fold.bound(c.bits)) * math.Sqrt2 * turnGain
	return max(0, math.Ilogb(length)+1-31)
}

// rmsBits returns the fraction bits of the codes whose mean square is taken about physical zero.
func (n *Integer) rmsBits(channel int) int {
	ends := n.fromZero(channel) + float64(n.channels[channel].middle)
	most := float64(n.front.Sampling.Samples) * ends * ends
	return min(rippleBits, (62-math.Ilogb(most)-1)/2)
}

// fromZero returns how many steps the middle of the codes is from physical zero.
func (n *Integer) fromZero(channel int) float64 {
	c := n.front.Channels[channel].Converter
	return c.Low/c.Step() + float64(n.channels[channel].middle)
}

// windowSums are what a channel keeps of a window; d is a code less the middle.
type windowSums struct {
	sum       int64 // of d
	squares   int64 // of d²
	ramp      int64 // of the sums so far
	low, high int64 // codes
	folded    []int32
}

// sums takes the codes of a window.
func (c *integerChannel) sums(codes []uint16) windowSums {
	s := windowSums{low: math.MaxUint16}
	if c.fold != nil {
		s.folded = make([]int32, c.fold.length)
	}
	for i, code := range codes {
		d := int64(code) - int64(c.middle)
		s.sum += d
		s.squares += d * d
		s.ramp += s.sum
		s.low, s.high = min(s.low, int64(code)), max(s.high, int64(code))
		if c.fold != nil {
			s.folded[i%c.fold.length] += int32(d)
		}
	}
	return s
}

// amplitude returns the length and the angle of a line of a window.
func (c *integerChannel) amplitude(s *windowSums, k int) (length uint32, angle int32) {
	re, im := c.fold.line(s.folded, k)
	magnitude, shift, angle := polar(re, im)
	return shifted(magnitude, shift+c.down()), angle
}

// Encode returns what the network takes for every feature at every step of codes, which are laid
// out as [dataset.Samples.X] is: per channel, Samples for each step.
func (n *Integer) Encode(codes [][]uint16, steps int) [][]int16 {
	x := make([][]int16, steps)
	before := make([]int64, len(n.channels))
	bases := make([]integerBase, len(n.channels))
	for step := range steps {
		sums := make([]windowSums, len(n.channels))
		for c := range n.channels {
			at := step * n.front.Sampling.Samples
			sums[c] = n.channels[c].sums(codes[c][at : at+n.front.Sampling.Samples])
			bases[c].take(n.baselineSteps(c), step, sums[c].sum)
			if step == 0 {
				before[c] = sums[c].sum
			}
		}
		x[step] = make([]int16, len(n.features))
		for i := range n.features {
			x[step][i] = n.features[i].scaling.x(n.number(i, sums, before, bases))
		}
		for c := range n.channels {
			before[c] = sums[c].sum
		}
	}
	return x
}

// number returns the whole number that a feature is made of.
func (n *Integer) number(i int, sums []windowSums, before []int64, bases []integerBase) int64 {
	feature, made := &n.front.Features[i], &n.features[i]
	channel, s := &n.channels[feature.Channel], &sums[feature.Channel]
	samples, order := int64(n.front.Sampling.Samples), feature.Definition.Order
	switch feature.Definition.Kind {
	case Level:
		return s.sum
	case Slope:
		return s.sum - before[feature.Channel]
	case Trend:
		return (samples+1)*s.sum - 2*s.ramp
	case Minimum:
		return s.low
	case Maximum:
		return s.high
	case Swing:
		return s.high - s.low
	case Ripple:
		return int64(root(uint64(samples*s.squares-s.sum*s.sum) << (2 * rippleBits)))
	case RMS:
		bits := n.rmsBits(feature.Channel)
		zero := int64(math.Round(math.Ldexp(n.fromZero(feature.Channel), bits)))
		mean := s.squares<<(2*bits) + 2*zero*(s.sum<<bits) + samples*zero*zero
		return int64(root(uint64(max(0, mean))))
	case Amplitude:
		length, _ := channel.amplitude(s, order)
		return int64(length)
	case Phase:
		angle := n.angle(feature.Channel, order, sums, made.floor)
		if feature.Definition.Other != "" {
			angle -= n.angle(feature.Other, order, sums, n.amplitudeFloor(feature.Other))
		}
		angle += int32(made.turned)
		if angle == math.MinInt32 {
			angle = math.MaxInt32
		}
		return int64(angle >> (32 - angleBits))
	case Distortion:
		first, _ := channel.amplitude(s, 1)
		if first < made.floor || first>>distortionDown == 0 {
			return 0
		}
		squares := uint64(0)
		for k := 2; k <= order; k++ {
			length, _ := channel.amplitude(s, k)
			length >>= distortionDown
			squares += uint64(length) * uint64(length)
		}
		return int64(ratio(root(squares), first>>distortionDown))
	}
	if n.baselineSteps(feature.Channel) == 0 {
		return s.sum
	}
	return bases[feature.Channel].relative(s.sum, n.front, feature.Channel, n)
}

// distortionDown is by how many bits lengths are shifted so that 64 of their squares fit 64 bits.
const distortionDown = 3

// angle returns the angle of a line in 2^-32 of a turn, 0 below the floor.
func (n *Integer) angle(channel, order int, sums []windowSums, floor uint32) int32 {
	length, angle := n.channels[channel].amplitude(&sums[channel], order)
	if length < floor {
		return 0
	}
	return angle
}

// baselineSteps returns how many steps a baseline in seconds takes; 0 of one that is a number.
func (n *Integer) baselineSteps(channel int) int {
	seconds := n.front.Channels[channel].Baseline.Seconds
	return int(math.Ceil(seconds/n.front.Sampling.Period - 1e-9))
}

// integerBase is a baseline as the sum of the levels so far.
type integerBase struct {
	sum   int64
	steps int64
}

// take adds the level of a step.
func (b *integerBase) take(upTo, step int, sum int64) {
	if step < upTo {
		b.sum += sum
		b.steps++
	}
}

// relative returns how far a sum is from the baseline, with [relativeBits] fraction bits.
func (b *integerBase) relative(sum int64, f *FrontEnd, channel int, n *Integer) int64 {
	zero := int64(math.Round(n.fromZero(channel) * float64(f.Sampling.Samples)))
	base := b.sum + b.steps*zero
	floor := f.Channels[channel].Floor / f.Channels[channel].Converter.Step() *
		float64(f.Sampling.Samples)
	if float64(max(base, -base)) < floor*float64(b.steps) || base == 0 {
		return 0
	}
	return (b.steps*sum - b.sum) << relativeBits / base
}
