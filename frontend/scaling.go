package frontend

import "math"

// Scaling makes x of a whole number v, which is below 2^30 to either side: v less Middle, shifted
// down, limited, multiplied and shifted by [ScalingShift], all in 32 bits.
type Scaling struct {
	Middle     int32
	Multiplier int32
	Add        int32  // to the product, with the half that rounds
	Limit      uint16 // a quarter of the limit of what is multiplied
	Down       int    // bits by which v - Middle is shifted, half upwards
}

// ScalingShift is how many fraction bits a product has.
const ScalingShift = 15

// leastMultiplier bounds how coarse a multiplier is: 2^-14 of it and less is rounded. What it
// multiplies has 17 bits then.
const leastMultiplier = 1 << 13

// NewScaling returns what makes round(slope·v + offset) of v, limited to 16 bits.
func NewScaling(slope, offset float64) Scaling {
	const most = 1<<sampleBits - 1
	s := Scaling{Middle: int32(min(max(math.Round(-offset/slope), -most), most))}
	rest := offset + float64(slope*float64(s.Middle)) // at the middle
	for math.Abs(slope)*(1<<ScalingShift) < leastMultiplier && s.Down < sampleBits {
		s.Down++
		slope *= 2
	}
	// a product is 2^30 at most: x has 16 bits
	const largest = 1 << 28
	s.Multiplier = int32(min(max(math.Round(slope*(1<<ScalingShift)), -largest), largest))
	s.Limit = uint16(min(math.Floor((math.MaxInt16+1)/math.Abs(slope)/4)+1, math.MaxUint16))
	s.Add = int32(min(max(math.Round(rest*(1<<ScalingShift)), -largest), largest)) +
		1<<(ScalingShift-1)
	// of a slope beyond some 3,800, where a step of v is more than a tenth of the range of x
	fits := (math.MaxInt32 - math.Abs(float64(s.Add))) / (4 * math.Abs(float64(s.Multiplier)))
	s.Limit = uint16(min(float64(s.Limit), max(math.Floor(fits), 1)))
	return s
}

// X returns what the network takes for v.
func (s *Scaling) X(v int32) int16 {
	v -= s.Middle
	if s.Down > 0 {
		v = (v + 1<<(s.Down-1)) >> s.Down
	}
	limit := 4 * int32(s.Limit)
	v = (min(max(v, -limit), limit)*s.Multiplier + s.Add) >> ScalingShift
	return int16(min(max(v, math.MinInt16), math.MaxInt16))
}
