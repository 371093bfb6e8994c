package quant

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
)

// TestOuterKernels compares the kernels in assembly with those in Go, bit for bit.
func TestOuterKernels(t *testing.T) {
	requireLanes(t)
	random := rand.New(rand.NewPCG(1, 2))
	values := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = random.NormFloat64() * math.Exp2(float64(random.IntN(40)-20))
		}
		return v
	}
	same := func(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }
	for n := outersAtOnce; n <= 10*outersAtOnce; n += outersAtOnce {
		var x [outersAtOnce][]float64
		for i := range x {
			x[i] = values(n)
		}
		got := values(n * n)
		want := append([]float64(nil), got...)
		addOuters(got, x)
		addOutersGo(want, x)
		for i := range n {
			for j := i; j < n; j++ {
				if !same(got[i*n+j], want[i*n+j]) {
					t.Fatalf("%d values, product %d, %d: %v, want %v", n, i, j, got[i*n+j],
						want[i*n+j])
				}
			}
		}
		phi, keep, slope := values(n), random.Float64(), random.NormFloat64()
		wantPhi := append([]float64(nil), phi...)
		follow(phi, x[0], keep, slope)
		followGo(wantPhi, x[0], keep, slope)
		for i := range phi {
			if !same(phi[i], wantPhi[i]) {
				t.Fatalf("%d values, trace %d: %v, want %v", n, i, phi[i], wantPhi[i])
			}
		}
	}
}

// TestCalibrationIsTheSameWithoutKernels calibrates every kind of network with and without them.
func TestCalibrationIsTheSameWithoutKernels(t *testing.T) {
	requireLanes(t)
	defer func() { useLanes = true }()
	for i, n := range everyStack() {
		p := layered(uint64(i), n.Kinds, n.Activations)
		rec := RandomRecordings(uint64(i), p, 5, 37)
		useLanes = true
		got := Calibrate(p, rec)
		useLanes = false
		if want := Calibrate(p, rec); !reflect.DeepEqual(got, want) {
			t.Errorf("%v %v: another calibration", n.Kinds, n.Activations)
		}
	}
}
