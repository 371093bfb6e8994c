package report

import (
	"encoding/json"
	"reflect"
	"slices"
	"testing"

	"kerf/budget"
	"kerf/dataset"
	"kerf/quant"
	"kerf/testdata/randomnet"
)

// Cells count along the first output, then the second; what lies beyond belongs to the last.
func TestOutputSpaceCells(t *testing.T) {
	m := OutputSpace{Axes: []SpaceAxis{{Low: 0, High: 4, Cells: 4},
		{Low: 10, High: 20, Cells: 2, output: 1}}}
	for _, c := range []struct {
		y    [2]float64
		cell int
	}{{[2]float64{0, 10}, 0}, {[2]float64{3.99, 10}, 3}, {[2]float64{4, 14.9}, 3},
		{[2]float64{0, 15}, 4}, {[2]float64{9, 99}, 7}, {[2]float64{-1, -1}, 0}} {
		if got := m.cell(c.y[:]); got != c.cell {
			t.Errorf("%v lies in cell %d, want %d", c.y, got, c.cell)
		}
	}
}

// Of 10,000 steps the one with an error stays, whatever the thinning.
func TestThinningKeepsPeaks(t *testing.T) {
	const steps = 10000
	for _, every := range []int{1, 7, 28, steps} {
		v := signals{outputs: 2, reference: make([]float64, 2*steps),
			fixed: make([]float64, 2*steps)}
		v.fixed[2*6789+1] = 3
		at := v.thin(every, []float64{0, 1})
		if !slices.Contains(at, 6789) || len(at) != (steps+every-1)/every || !slices.IsSorted(at) {
			t.Errorf("every %d: %d steps, the peak is among them: %v", every, len(at),
				slices.Contains(at, 6789))
		}
	}
}

// Of steps with equal errors the first stays.
func TestThinningKeepsTheFirstOfEqualSteps(t *testing.T) {
	v := signals{outputs: 1, reference: make([]float64, 10),
		fixed: []float64{0, 0, 0, 0, 0, 1, -1, 1, 2, 2}}
	if got, want := v.thin(4, []float64{1}), []int{0, 5, 8}; !slices.Equal(got, want) {
		t.Errorf("steps %v are kept, want %v", got, want)
	}
}

// A track has as many points as fit the picture, and no fewer than thinning by whole steps leaves;
// what is kept of each is recorded at its step.
func TestTracksFillThePicture(t *testing.T) {
	random := randomnet.Seeded(11)
	p := randomnet.Network(random, 2, randomnet.OneGRU, 1)
	rec := randomnet.Recordings(random, p)
	net, err := quant.Quantize(p, quant.Calibrate(p, rec), randomnet.Formats(random, p.Net),
		quant.Nearest)
	if err != nil {
		t.Fatal(err)
	}
	r := &budget.Result{Inputs: &budget.Inputs{Float: p}, Chosen: &budget.Chosen{Fixed: net}}
	for steps, every := range map[int]int{1: 1, trackPoints: 1, trackPoints + 1: 2,
		2 * trackPoints: 2, 2*trackPoints + 1: 3} {
		s := &dataset.Sequence{Name: "a", Scenario: "b", Steps: steps, X: make([]float64, 2*steps)}
		for step := range steps {
			s.Y = append(s.Y, float64(step))
		}
		got := newTrack(r, s, []float64{1})
		if got.Steps != steps || got.Every != every || len(got.At) > trackPoints {
			t.Errorf("%d steps: of %d every %d is kept, %d in all; want every %d, at most %d "+
				"in all", steps, got.Steps, got.Every, len(got.At), every, trackPoints)
		}
		for i, at := range got.At {
			if at/every != i || got.Outputs[0].Reference[i] != float64(at) {
				t.Fatalf("%d steps: point %d is step %d with the reference %v", steps, i, at,
					got.Outputs[0].Reference[i])
			}
		}
	}
}

// Squares of errors are summed by output, a step without an error among them.
func TestSquaresAreSummedByOutput(t *testing.T) {
	v := signals{outputs: 2, reference: []float64{1, 10, 2, 20, 3, 30}}
	values := []float64{1, 11, 4, 17, 0, 30}
	for output, want := range []float64{0*0 + 2*2 + 3*3, 1*1 + 3*3 + 0*0} {
		if got := v.squares(values, output); got != want {
			t.Errorf("output %d: %v, want %v", output, got, want)
		}
	}
}

// Axes go from the least to the largest value of their own output in all sequences.
func TestOutputRangesAreThoseOfEachOutput(t *testing.T) {
	in := &budget.Inputs{
		Float: &dataset.Float{Outputs: []dataset.Output{{Name: "a", Unit: "L"}, {Name: "b"}}},
		Selection: &dataset.Recordings{Outputs: 2, Sequences: []*dataset.Sequence{
			{Steps: 3, Y: []float64{1, -10, 2, -30, 3, -20}},
			{Steps: 2, Y: []float64{7, -25, 5, -15}},
		}},
	}
	want := []SpaceAxis{{Output: "a", Unit: "L", Low: 1, High: 7, Cells: spaceCells},
		{Output: "b", Low: -30, High: -10, Cells: spaceCells, output: 1}}
	if got := outputRanges(in); !reflect.DeepEqual(got, want) {
		t.Errorf("axes %+v, want %+v", got, want)
	}
}

// The mean of a row of cells is over the steps in each; a cell without a step has none.
func TestMeansOfCells(t *testing.T) {
	sums := cellSums{steps: []int{2, 0, 4}, sum: []float64{9, 9, 9, 3, 0, 2}}
	if got, want := sums.row(1, func(mean float64) float64 {
		return 10 * mean
	}), []*float64{value(15), nil, value(5)}; !reflect.DeepEqual(got, want) {
		text, _ := json.Marshal(got) // pointers to numbers are nothing to read
		t.Errorf("means %s, want 15, none, 5", text)
	}
}

// The reference of a step has a value for every output.
func TestReferenceOfAStep(t *testing.T) {
	v := signals{outputs: 3, reference: []float64{0, 1, 2, 10, 11, 12, 20, 21, 22, 30, 31, 32}}
	for step := range 4 {
		first := float64(10 * step)
		if got, want := v.referenceAt(step),
			[]float64{first, first + 1, first + 2}; !slices.Equal(got, want) {
			t.Errorf("step %d: %v, want %v", step, got, want)
		}
	}
}
