package dataset

import (
	"math"
	"strings"
	"testing"
)

const classRecording = `sequence,scenario,t,x,state
0,all of it,0,1,calm
0,all of it,1,2,worn
0,all of it,2,3,2
1,all of it,0,4,calm
1,all of it,1,5,0
`

func readClasses(t *testing.T) *Recordings {
	t.Helper()
	rec, err := ReadCSV(strings.NewReader(classRecording), "rec.csv", []string{"x"},
		Reference{Outputs: []string{"calm", "worn", "broken"}, Column: "state"})
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func TestClassesByNameOrIndex(t *testing.T) {
	rec := readClasses(t)
	want := []float64{1, 0, 0, 0, 1, 0, 0, 0, 1}
	if !rec.Classes || rec.Outputs != 3 || len(rec.Sequences) != 2 {
		t.Fatalf("read as %+v", rec)
	}
	for i, v := range want {
		if rec.Sequences[0].Y[i] != v {
			t.Errorf("reference %d is %g, want %g", i, rec.Sequences[0].Y[i], v)
		}
	}
	for _, bad := range []string{"3", "-1", "Calm", "", "1.0"} {
		text := strings.Replace(classRecording, "1,2,worn", "1,2,"+bad, 1)
		_, err := ReadCSV(strings.NewReader(text), "rec.csv", []string{"x"},
			Reference{Outputs: []string{"calm", "worn", "broken"}, Column: "state"})
		if err == nil || !strings.Contains(err.Error(), "rec.csv:3: column state: ") {
			t.Errorf("class %q: error %v", bad, err)
		}
	}
}

// byFeature is a classifier that predicts the class that it maps the only feature to.
type byFeature map[float64]int

func (b byFeature) Predict(s *Sequence, dst []float64) {
	for step := range s.Steps {
		for c := range 3 {
			dst[step*3+c] = -1
		}
		dst[step*3+b[s.X[step]]] = 1
	}
}

// TestClassMetricsByHand has figures computed by hand. The references are calm, worn, broken, calm,
// calm. The base errs on the last step, the other on steps 2 and 4 (features 2 and 4). So
// accuracies are 4/5 and 3/5, the accuracies on each class 2/3, 1, 1 and 2/3, 0, 1, and the
// predictors agree on steps 1 and 3 (features 1 and 3).
func TestClassMetricsByHand(t *testing.T) {
	rec := readClasses(t)
	base := Measure(byFeature{1: 0, 2: 1, 3: 2, 4: 0, 5: 1}, rec, nil)
	other := Measure(byFeature{1: 0, 2: 0, 3: 2, 4: 1, 5: 0}, rec, nil)
	for metric, want := range map[Metric][2]float64{
		Accuracy:         {4.0 / 5, 3.0 / 5},
		BalancedAccuracy: {(2.0/3 + 1 + 1) / 3, (2.0/3 + 0 + 1) / 3},
		Agreement:        {1, 2.0 / 5},
	} {
		c := Compare(base, other, Slice{Region: -1}, metric)
		if math.Abs(c.Base-want[0]) > 1e-12 || math.Abs(c.Other-want[1]) > 1e-12 ||
			math.Abs(c.Rise-(want[0]-want[1])) > 1e-12 {
			t.Errorf("%s: %g and %g, rise %g; want %v", metric, c.Base, c.Other, c.Rise, want)
		}
		if got := other.Value(base, Slice{Region: -1}, metric); got != c.Other {
			t.Errorf("%s: value %g, compared %g", metric, got, c.Other)
		}
		if !(c.RiseLow <= c.Rise && c.Rise <= c.RiseHigh) || c.Sequences != 2 || c.Steps != 5 {
			t.Errorf("%s: interval %g to %g, %d sequences, %d steps", metric, c.RiseLow, c.RiseHigh,
				c.Sequences, c.Steps)
		}
	}
}

func TestClassIsTheFirstOfEquals(t *testing.T) {
	for _, c := range []struct {
		scores []float64
		want   int
	}{{[]float64{1, 1}, 0}, {[]float64{0, 2, 2}, 1}, {[]float64{-3, -2, -1}, 2}} {
		if got := Class(c.scores); got != c.want {
			t.Errorf("Class(%v) = %d, want %d", c.scores, got, c.want)
		}
	}
}
