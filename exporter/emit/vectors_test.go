package emit

import (
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/quant"
)

// plainNetwork takes columns 2 and 0 of the recordings as they are: without mean and scale, an
// input is its own integer.
func plainNetwork() *quant.Network {
	return &quant.Network{
		Columns: []int{2, 0}, Features: []dataset.Feature{{Name: "c", Std: 1}, {Name: "a", Std: 1}},
		Outputs: []dataset.Output{{Name: "y", Mean: 5, Std: 2}},
	}
}

// A run of vectors holds the features of the recorded steps from its first one on, up to its length
// or the end of the sequence.
func TestEncodedTakesRecordedSteps(t *testing.T) {
	s := &dataset.Sequence{Steps: 30}
	for i := range 3 * s.Steps {
		s.X = append(s.X, float64(i))
	}
	for from, length := range map[int]int{0: segmentSteps, 3: segmentSteps, 20: 10} {
		got := encoded(plainNetwork(), s, from)
		if len(got) != length {
			t.Errorf("from step %d: %d steps, want %d", from, len(got), length)
		}
		for i, x := range got {
			first := int32(3 * (from + i)) // column 0 of the step
			if want := []int32{first + 2, first}; !slices.Equal(x, want) {
				t.Errorf("step %d: inputs %v, want %v", from+i, x, want)
			}
		}
	}
}

// Windows lie around the step where the largest input and the output furthest from its mean, on
// either side, are reached: the first of the steps that they are held. Columns that the network
// does not take do not count.
func TestExtremesLieWhereThePeakBegins(t *testing.T) {
	const steps, highInput, lowOutput = 40, 20, 30
	s := &dataset.Sequence{Steps: steps, X: make([]float64, 3*steps), Y: make([]float64, steps)}
	for step := range steps {
		s.X[3*step+1] = 30000
		s.Y[step] = 5
	}
	for i := range 6 {
		s.X[3*(highInput+i)+2] = -7
		s.Y[lowOutput+i] = 1
	}
	s.X[3*3], s.Y[3] = 6, 8 // smaller, before
	got := extremes(plainNetwork(),
		&dataset.Recordings{Features: 3, Outputs: 1, Sequences: []*dataset.Sequence{s}})
	if len(got) != 2 || got[0].from != highInput-segmentSteps/2 ||
		got[1].from != lowOutput-segmentSteps/2 {
		t.Errorf("windows %+v, want one from step %d and one from %d", got,
			highInput-segmentSteps/2, lowOutput-segmentSteps/2)
	}
}
