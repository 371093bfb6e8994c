package frontend

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The largest errors over two million vectors of all lengths, against package math.
func TestPolar(t *testing.T) {
	random := rand.New(rand.NewPCG(18, 1))
	worst, squares, length := 0.0, 0.0, 0.0
	const draws = 500_000
	for range draws {
		size := math.Ldexp(1, 18+random.IntN(43))
		re, im := int64(size*random.NormFloat64()/4), int64(size*random.NormFloat64()/4)
		if re == 0 && im == 0 {
			continue
		}
		magnitude, shift, angle := polar(re, im)
		true := math.Hypot(float64(re), float64(im))
		apart := WrapAngle(float64(angle)*2*math.Pi/(1<<32) - math.Atan2(float64(im), float64(re)))
		worst = max(worst, math.Abs(apart))
		squares += apart * apart
		length = max(length, math.Abs(math.Ldexp(float64(magnitude), -shift)/turnGain/true-1))
	}
	t.Logf("angle %.2g rad at most, %.2g RMS; magnitude %.2g", worst, math.Sqrt(squares/draws),
		length)
	if worst > 1.3e-4 || math.Sqrt(squares/draws) > 5e-5 || length > 7.7e-6 {
		t.Error("errors are larger than the routine may have")
	}
	for _, v := range [][2]int64{{0, 0}, {1, 0}, {-2, 0}, {0, 1}, {0, -2}, {-2, -2},
		{-1 << 28, -1 << 28}, {-1 << 29, -1 << 29}, {-1 << 30, 1 << 30},
		{math.MaxInt32, math.MaxInt32}, {-1 << 40, 1}, {-1 << 40, -1}} {
		_, _, angle := polar(v[0], v[1])
		want := math.Atan2(float64(v[1]), float64(v[0]))
		if e := math.Abs(WrapAngle(float64(angle)*2*math.Pi/(1<<32) - want)); e > 1.3e-4 {
			t.Errorf("the angle of %v is off by %g", v, e)
		}
	}
}

func TestRootAndRatio(t *testing.T) {
	random := rand.New(rand.NewPCG(18, 2))
	for range 300_000 {
		v := random.Uint64() >> random.IntN(64)
		r := uint64(root(v))
		// r is nearest: (r - 1/2)² <= v < (r + 1/2)²; r² + r does not overflow before the last r
		if r > 0 && v < r*r-r+1 || r < math.MaxUint32 && v > r*r+r {
			t.Fatalf("root(%d) = %d", v, r)
		}
		a, b := random.Uint32()>>random.IntN(32), random.Uint32()>>random.IntN(32)
		if b == 0 {
			continue
		}
		got, want := float64(ratio(a, b))/(1<<ratioBits), float64(a)/float64(b)
		if want > 1<<14-1 {
			continue
		}
		if math.Abs(got-want) > want*0x1p-14+0x1p-17 {
			t.Fatalf("ratio(%d, %d) = %v, want %v", a, b, got, want)
		}
	}
	for _, v := range []uint64{0, 1, 2, 3, 4, math.MaxUint64, 1 << 62} {
		if got := float64(root(v)); math.Abs(got-math.Sqrt(float64(v))) > 0.6 &&
			got != math.MaxUint32 {
			t.Errorf("root(%d) = %v", v, got)
		}
	}
}

// Whatever slope and offset a feature has, a product with what is added to it fits 32 bits, and x
// is limited, not wrapped.
func TestScalingNeverOverflows(t *testing.T) {
	random := rand.New(rand.NewPCG(18, 77))
	for range 200_000 {
		slope := math.Ldexp(1+random.Float64(), random.IntN(40)-22)
		if random.IntN(2) == 0 {
			slope = -slope
		}
		s := NewScaling(slope, 40000*(random.Float64()-0.5))
		v := int32(random.Int64N(1<<30)) >> random.IntN(30)
		most := float64(4*int64(s.Limit)) * math.Abs(float64(s.Multiplier))
		if most+math.Abs(float64(s.Add)) > math.MaxInt32 {
			t.Fatalf("slope %g: %+v overflows", slope, s)
		}
		if x := s.X(v); float64(x)*float64(v-s.Middle)*slope < 0 &&
			math.Abs(float64(float64(v-s.Middle)*slope)) > 40000 {
			t.Fatalf("slope %g: x of %d is %d with %+v", slope, v, x, s)
		}
	}
}
