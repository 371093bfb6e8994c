package dataset

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"kerf/model"
)

// givenErrors predicts the reference plus an error: output o is off by the value of feature o.
type givenErrors struct{ outputs int }

func (g givenErrors) Predict(s *Sequence, dst []float64) {
	columns := len(s.X) / s.Steps
	for i := range dst {
		dst[i] = s.Y[i] + s.X[i/g.outputs*columns+i%g.outputs]
	}
}

// tiny has two outputs, air and leak, and their errors as the features ea and el, which are easy to
// sum by hand.
const tiny = `sequence,scenario,t,ea,el,air,leak
0,cold,0,3,1,10,1
0,cold,1,-4,0,20,2
1,warm,0,0,-2,30,40
1,warm,1,5,1,5,5
1,warm,2,-5,0,0,0
`

func readTiny(t *testing.T) *Recordings {
	t.Helper()
	rec, err := ReadCSV(strings.NewReader(tiny), "tiny.csv", []string{"ea", "el"},
		Reference{Outputs: []string{"air", "leak"}})
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func pointer[T any](v T) *T { return &v }

// tinyRegions have every kind of condition, and steps at the edges: air is 5 and leak is 5 on one
// step, air is 10 and 30 on others.
var tinyRegions = []Region{
	{Name: "air from 10", Conditions: []Condition{{Output: 0, Min: pointer(10.0)}}},
	{Name: "air to 10", Conditions: []Condition{{Output: 0, Max: pointer(10.0)}}},
	{Name: "leak below air", Conditions: []Condition{{Output: 1, Below: pointer(0)}}},
	{Name: "leak above air", Conditions: []Condition{{Output: 1, Above: pointer(0)}}},
	{Name: "air 5..20, leak below air",
		Conditions: []Condition{{Output: 0, Min: pointer(5.0), Max: pointer(20.0)},
			{Output: 1, Below: pointer(0)}}},
	{Name: "never", Conditions: []Condition{{Output: 0, Min: pointer(99.0)}}},
}

func TestMeasureByHand(t *testing.T) {
	const everywhere = -1
	score := Measure(givenErrors{2}, readTiny(t), tinyRegions)
	for _, c := range []struct {
		slice                Slice
		rmse, mae, max, bias float64
		sequences, steps     int
	}{
		// air: errors 3 -4 | 0 5 -5
		{Slice{0, "", everywhere}, math.Sqrt(75.0 / 5), 17.0 / 5, 5, -1.0 / 5, 2, 5},
		{Slice{0, "cold", everywhere}, math.Sqrt(25.0 / 2), 3.5, 4, -0.5, 1, 2},
		{Slice{0, "warm", everywhere}, math.Sqrt(50.0 / 3), 10.0 / 3, 5, 0, 1, 3},
		// leak: errors 1 0 | -2 1 0
		{Slice{1, "", everywhere}, math.Sqrt(6.0 / 5), 4.0 / 5, 2, 0, 2, 5},
		{Slice{1, "warm", everywhere}, math.Sqrt(5.0 / 3), 1, 2, -1.0 / 3, 1, 3},
		// air from 10: steps 3 -4 | 0; to 10: 3 | 5 -5
		{Slice{0, "", 0}, math.Sqrt(25.0 / 3), 7.0 / 3, 4, -1.0 / 3, 2, 3},
		{Slice{0, "", 1}, math.Sqrt(59.0 / 3), 13.0 / 3, 5, 1, 2, 3},
		{Slice{1, "", 0}, math.Sqrt(5.0 / 3), 1, 2, -1.0 / 3, 2, 3},
		// leak below air: both steps of 0; above: the first step of 1. Equal is neither.
		{Slice{1, "", 2}, math.Sqrt(0.5), 0.5, 1, 0.5, 1, 2},
		{Slice{1, "", 3}, 2, 2, 2, -2, 1, 1},
		{Slice{0, "", 4}, math.Sqrt(25.0 / 2), 3.5, 4, -0.5, 1, 2},
		// Nothing to measure.
		{Slice{0, "", 5}, 0, 0, 0, 0, 0, 0},
		{Slice{0, "cold", 3}, 0, 0, 0, 0, 0, 0},
		{Slice{0, "elsewhere", everywhere}, 0, 0, 0, 0, 0, 0},
	} {
		for _, m := range Metrics(false) {
			want := map[Metric]float64{RMSE: c.rmse, MAE: c.mae, MaxError: c.max, Bias: c.bias}[m]
			if got := score.Value(nil, c.slice, m); math.Abs(got-want) > 1e-15*math.Abs(want) {
				t.Errorf("%+v: %s = %v, want %v", c.slice, m, got, want)
			}
			pair := Compare(score, score, c.slice, m)
			if pair.Sequences != c.sequences || pair.Steps != c.steps {
				t.Errorf("%+v: %d sequences and %d steps, want %d and %d", c.slice, pair.Sequences,
					pair.Steps, c.sequences, c.steps)
			}
		}
	}
}

// Float normalises what it keeps and gives outputs in physical units. With the
// update gate shut (its argument -800 gives exactly 0), the state is tanh of the input.
func TestFloatPredictsInPhysicalUnits(t *testing.T) {
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: 1, Units: 1,
		W: []float64{0, 0, 0.5}, U: make([]float64, 3), B: []float64{0, -800, 0.25},
		D: make([]float64, 3)}
	head := &model.Dense{Inputs: 1, Outputs: 1, W: []float64{3}, B: []float64{-1}}
	p := &Float{
		Net:      &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}},
		Features: []Feature{{Mean: 99, Std: 99}, {Mean: 10, Std: 4}}, Kept: []int{1},
		Outputs: []Output{{Mean: 100, Std: 20}},
	}
	got := make([]float64, 2)
	p.Predict(&Sequence{Steps: 2, X: []float64{1e6, 14, -1e6, 2}}, got)
	for i, x := range []float64{1, -2} {
		want := (3*math.Tanh(0.5*x+0.25)-1)*20 + 100
		if math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("step %d: %v, want %v", i, got[i], want)
		}
	}
}

// The number of cores changes the order of the work, not one bit of the result.
func TestMeasureDoesNotDependOnTheNumberOfCores(t *testing.T) {
	const seed = 4
	random := rand.New(rand.NewPCG(seed, 0))
	rec := &Recordings{Features: 2, Outputs: 2}
	for i := range 40 {
		s := &Sequence{Name: fmt.Sprint(i), Scenario: fmt.Sprint(i % 3), Steps: 1 + random.IntN(30)}
		for range 2 * s.Steps {
			s.X = append(s.X, random.NormFloat64())
			s.Y = append(s.Y, 20*random.Float64())
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	before := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(before)
	one := Measure(givenErrors{2}, rec, tinyRegions)
	runtime.GOMAXPROCS(2)
	two := Measure(givenErrors{2}, rec, tinyRegions)
	if !reflect.DeepEqual(one.tallies, two.tallies) {
		t.Errorf("seed %d: the errors differ", seed)
	}
	for i := range rec.Sequences {
		if one.at(i, 0, -1).steps != rec.Sequences[i].Steps {
			t.Fatalf("sequence %d: %d steps measured, want %d", i, one.at(i, 0, -1).steps,
				rec.Sequences[i].Steps)
		}
	}
}
