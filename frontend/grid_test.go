package frontend

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Samples that a converter of fewer bits recorded lie on its grid, also where they were written
// with few digits or as float32, and where only some of its codes occur; samples of a converter as
// fine, and samples that none recorded, lie on none.
func TestGridOfSamples(t *testing.T) {
	random := rand.New(rand.NewPCG(18, 11))
	job := Converter{0, 250, 12}
	signal := func() float64 { return 120 + 12*random.NormFloat64() }
	written := map[string]func(v float64) float64{
		"as they are": func(v float64) float64 { return v },
		"four digits": func(v float64) float64 { return math.Round(v*1e2) / 1e2 },
		"float32":     func(v float64) float64 { return float64(float32(v)) },
	}
	for name, write := range written {
		for bits := 6; bits <= 14; bits++ {
			recorder := Converter{0, 250, bits}
			var values []float64
			for range 20_000 {
				values = append(values, write(recorder.Value(recorder.Code(signal()))))
			}
			got, want := job.Grid(values[:100], values[100:]), recorder.Step()
			if bits >= job.Bits {
				want = 0
			}
			if math.Abs(got-want) > 0.01*want {
				t.Errorf("%d bits, %s: %v, want %v", bits, name, got, want)
			}
			got, want = job.FinerGrid(values), recorder.Step()
			if bits <= job.Bits {
				want = 0
			}
			// rounding to hundredths hides steps of some hundredths
			hidden := name == "four digits" && (got == 0 || IsDecimal(got))
			if math.Abs(got-want) > 0.01*want && !hidden {
				t.Errorf("%d bits, %s: a finer grid of %v, want %v", bits, name, got, want)
			}
		}
	}
	// Every second and every third code alone: the grid is their common divisor.
	recorder := Converter{0, 250, 9}
	var values []float64
	for range 500 {
		code := uint16(100 + 6*random.IntN(20) + 2*random.IntN(2) + 3*random.IntN(2))
		values = append(values, recorder.Value(code))
	}
	if got := job.Grid(values); math.Abs(got-recorder.Step()) > 1e-6 {
		t.Errorf("of multiples: %v, want %v", got, recorder.Step())
	}
	var free []float64
	for range 20_000 {
		free = append(free, signal())
	}
	for name, values := range map[string][]float64{"free": free, "few": free[:300],
		"of 7 values": {0, 1, 2, 3, 4, 5, 6}, "one value": {3, 3, 3}, "none": nil} {
		if got := job.FinerGrid(values); got != 0 {
			t.Errorf("%s: a finer grid of %v", name, got)
		}
		if got := job.Grid(values); got != 0 {
			t.Errorf("%s: a grid of %v", name, got)
		}
	}
}

func TestGridsOfRoundedDigits(t *testing.T) {
	for grid, want := range map[float64]bool{0.1: true, 0.02: true, 0.0005: true, 1: true,
		9.99: true, 50: true, 0.061: false, 0.2442: false, 0.004888: false, 3: false} {
		if IsDecimal(grid) != want {
			t.Errorf("%v: %v", grid, !want)
		}
	}
}
