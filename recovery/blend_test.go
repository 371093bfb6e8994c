package recovery

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/portable"
)

// related returns recordings of two independent features, their difference, a feature that follows
// none of the others, and a constant one.
func related() *dataset.Recordings {
	random := rand.New(rand.NewPCG(11, 3))
	rec := &dataset.Recordings{Features: 5}
	for range 8 {
		s := &dataset.Sequence{Steps: 500}
		for range s.Steps {
			supply, back := 180+40*random.NormFloat64(), 12+3*random.NormFloat64()
			s.X = append(s.X, supply, back, supply-back, random.NormFloat64(), 7)
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

func TestShiftsOfWhatIsNotReadFollowWhatIs(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	d := newDrift(related(), []int{0, 1})
	const draws = 4000
	var square [5]float64
	for range draws {
		o := d.draw(0.5, random)
		if want := o[0] - o[1]; !(math.Abs(o[2]-want) <= 0.01*(math.Abs(o[0])+math.Abs(o[1]))) {
			t.Fatalf("the difference is shifted by %g, the two by %g and %g", o[2], o[0], o[1])
		}
		for i, v := range o {
			square[i] += v * v / draws
		}
	}
	for i, want := range []float64{20, 1.5} { // half of the spreads
		if got := math.Sqrt(square[i]); math.Abs(got/want-1) > 0.05 {
			t.Errorf("kept feature %d is shifted by %g, want %g", i, got, want)
		}
	}
	// The slope of what follows nothing has a standard error of 1/sqrt(4000) = 0.016 per kept
	// feature.
	if got := math.Sqrt(square[3]); got > 0.5*0.016*4 {
		t.Errorf("a feature that follows nothing is shifted by %g", got)
	}
	if square[4] != 0 {
		t.Errorf("a constant is shifted by %g", math.Sqrt(square[4]))
	}
}

func TestFeaturesThatAreReadAreShiftedByThemselves(t *testing.T) {
	d := newDrift(related(), []int{0, 1, 2, 3, 4})
	random, same := rand.New(rand.NewPCG(1, 1)), rand.New(rand.NewPCG(1, 1))
	got := d.draw(0.5, random)
	var want []float64
	for _, spread := range d.spreads {
		want = append(want, 0.5*spread*portable.Normal(same))
	}
	if !slices.Equal(got, want) {
		t.Errorf("shifts %v, want %v", got, want)
	}
}
