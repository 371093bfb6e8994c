package portable

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Against package math, whose own error is below 2^-52; the points lie in all directions, and on
// the borders of the parts.
func TestAtan2AndSin(t *testing.T) {
	check := func(y, x float64) {
		t.Helper()
		want := math.Atan2(y, x)
		if want == -math.Pi {
			want = math.Pi
		}
		if e := math.Abs(Atan2(y, x) - want); !(e <= 0x1p-50) {
			t.Fatalf("the angle of (%v, %v) is off by %g", x, y, e)
		}
	}
	random := rand.New(rand.NewPCG(7, 7))
	for range 200000 {
		check(random.NormFloat64(), random.NormFloat64())
		check(math.Ldexp(random.NormFloat64(), -random.IntN(60)), random.NormFloat64())
	}
	for i := -16; i <= 16; i++ {
		for _, x := range []float64{16, -16} {
			check(float64(i), x)
			check(x, float64(i))
		}
	}
	if v := Atan2(0, 0); v != 0 {
		t.Errorf("the angle of no point is %v", v)
	}
	for _, y := range []float64{0, math.Copysign(0, -1), -1e-300} { // -π is no angle here
		if v := Atan2(y, -1); v != math.Pi {
			t.Errorf("the angle of (-1, %v) is %v", y, v)
		}
	}
	for i := range 1001 {
		x := -math.Pi/2 + 1.5*math.Pi*float64(i)/1000
		if e := math.Abs(Sin(x) - math.Sin(x)); e > 0x1p-49 {
			t.Errorf("sin(%v) is off by %g", x, e)
		}
	}
}
