package frontend

import "math"

// Scaling makes x of a whole number v, which is below 2^30 to either side: v less Middle, limited,
// shifted down and multiplied, all in 32 bits.
type Scaling struct {
	Middle     int32
	Limit      int32 // of |v - Middle|
	Add        int32 // to the product, with the half that rounds
	Multiplier int16
	Down       int // bits by which v - Middle is shifted before it is multiplied, half upwards
	Shift      int // bits by which the sum is shifted
}

const (
	// multiplierBits and restBits bound a product: 2^13·2^17 is half of what 32 bits hold.
	multiplierBits = 13
	restBits       = 17
	addBits        = 29 // bound what is added to it
)

// NewScaling returns what makes round(slope·v + offset) of v, limited to 16 bits.
func NewScaling(slope, offset float64) Scaling {
	const most = 1<<sampleBits - 1
	middle := min(max(math.Round(-offset/slope), -most), most)
	limit := min(math.Ceil((math.MaxInt16+1)/math.Abs(slope)), most)
	rest := offset + float64(slope*middle) // at the middle
	s := Scaling{Middle: int32(middle), Limit: int32(limit)}
	s.Down = max(0, bitsOf(limit)-restBits)
	slope = math.Ldexp(slope, s.Down)
	s.Shift = max(0, multiplierBits-1-math.Ilogb(slope))
	for s.Shift > 0 && (math.Abs(math.Ldexp(rest, s.Shift)) >= 1<<addBits || s.Shift > addBits) {
		s.Shift--
	}
	s.Multiplier = int16(min(max(math.Round(math.Ldexp(slope, s.Shift)), -math.MaxInt16),
		math.MaxInt16))
	s.Add = int32(min(max(math.Round(math.Ldexp(rest, s.Shift)), -1<<addBits), 1<<addBits))
	if s.Shift > 0 {
		s.Add += 1 << (s.Shift - 1)
	}
	return s
}

// X returns what the network takes for v.
func (s *Scaling) X(v int32) int16 {
	v = min(max(v-s.Middle, -s.Limit), s.Limit)
	if s.Down > 0 {
		v = (v + 1<<(s.Down-1)) >> s.Down
	}
	v = (v*int32(s.Multiplier) + s.Add) >> s.Shift
	return int16(min(max(v, math.MinInt16), math.MaxInt16))
}
