package quant

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
)

// TestKernelsOfOneSequence compares the kernels in assembly with those in Go, bit for bit.
func TestKernelsOfOneSequence(t *testing.T) {
	requireLanes(t)
	random := rand.New(rand.NewPCG(1, 2))
	values := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = random.NormFloat64() * math.Exp2(float64(random.IntN(40)-20))
		}
		return v
	}
	for n := 4; n <= 40; n += 4 {
		phi, v, keep, slope := values(n), values(n), random.Float64(), random.NormFloat64()
		want := slices.Clone(phi)
		follow(phi, v, keep, slope)
		followGo(want, v, keep, slope)
		if !slices.Equal(phi, want) {
			t.Fatalf("%d values: traces %v, want %v", n, phi, want)
		}
	}
	integers := func(n, size int) []int32 {
		v := make([]int32, n)
		for i := range v {
			v[i] = int32(random.IntN(2*size+1) - size)
		}
		return v
	}
	for rows := 1; rows <= 13; rows++ {
		for columns := 1; columns <= 21; columns++ {
			m := &Matrix{Rows: rows, Cols: columns, W: integers(rows*columns, 1000),
				Bias: integers(rows, 1<<20), Shift: make([]uint8, rows)}
			for r := range m.Shift {
				m.Shift[r] = uint8(1 + random.IntN(12))
			}
			v := integers(columns, maxInt16)
			for from := range min(rows, 3) {
				got, want := make([]int32, rows-from), make([]int32, rows-from)
				m.results(from, rows, v, got)
				m.resultsGo(from, rows, v, want)
				if !slices.Equal(got, want) {
					t.Fatalf("%d x %d from row %d: %v, want %v", rows, columns, from, got, want)
				}
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
