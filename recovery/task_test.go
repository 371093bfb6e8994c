package recovery

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/model/lanes"
)

// constant returns a network that gives the same outputs at every step.
func constant(y ...float64) *dataset.Float {
	net := &model.Network{
		Recurrent: []*model.Recurrent{{Kind: model.ElmanTanh, Inputs: 1, Units: 1, W: []float64{0},
			U: []float64{0}, B: []float64{0}, D: []float64{0}}},
		Dense: []*model.Dense{{Inputs: 1, Outputs: len(y), W: make([]float64, len(y)), B: y}},
	}
	p := dataset.NewFloat(net, []dataset.Feature{{Std: 1}}, make([]dataset.Output, len(y)))
	for o := range p.Outputs {
		p.Outputs[o] = dataset.Output{Std: 1}
	}
	return p
}

func TestTargetsAreMixed(t *testing.T) {
	teacher := constant(8)
	rec := &dataset.Recordings{Features: 1, Outputs: 1, Sequences: []*dataset.Sequence{
		{Steps: 2, X: []float64{0, 0}, Y: []float64{2, 4}},
		{Steps: 2, X: []float64{0, 0}},
	}}
	task := &Task{Start: teacher, Teacher: teacher, Training: rec, HeldBack: rec}
	frame := *teacher
	frame.Outputs = []dataset.Output{{Mean: 3, Std: 2}}
	all := task.recorded(&frame, rec, 0.25)
	// (0.75·2 + 0.25·8 - 3)/2 and (0.75·4 + 0.25·8 - 3)/2; without a reference (8 - 3)/2.
	if !slices.Equal(all[0].target, []float32{0.25, 1}) ||
		!slices.Equal(all[1].target, []float32{2.5, 2.5}) {
		t.Errorf("targets %v and %v", all[0].target, all[1].target)
	}
}

func TestClassTargetsAreShares(t *testing.T) {
	teacher := constant(math.Log(3), 0) // shares 3/4 and 1/4
	teacher.Classes = true
	rec := &dataset.Recordings{Features: 1, Outputs: 2, Classes: true,
		Sequences: []*dataset.Sequence{{Steps: 1, X: []float64{0}, Y: []float64{0, 1}}}}
	task := &Task{Start: teacher, Teacher: teacher, Training: rec, HeldBack: rec}
	got := task.recorded(teacher, rec, 0.5)[0].target
	if math.Abs(float64(got[0])-0.375) > 1e-7 || math.Abs(float64(got[1])-0.625) > 1e-7 {
		t.Errorf("targets %v, want 3/8 and 5/8", got)
	}
}

func TestWeightsCountErrorsOfTheTeacher(t *testing.T) {
	// Errors 1 and -1 of the first output, 0 of the second; in units of 2 that is a mean square of
	// 1/4.
	teacher := constant(1, 5)
	rec := &dataset.Recordings{Features: 1, Outputs: 2,
		Sequences: []*dataset.Sequence{{Steps: 2, X: []float64{0, 0}, Y: []float64{0, 5, 2, 5}}}}
	task := &Task{Start: teacher, Teacher: teacher, Training: rec,
		HeldBack: &dataset.Recordings{Features: 1, Outputs: 2}}
	frame := *teacher
	frame.Outputs = []dataset.Output{{Std: 2}, {Std: 2}}
	if got := task.weights(&frame); !slices.Equal(got, []float64{4, 1 / leastError}) {
		t.Errorf("weights %v", got)
	}
}

func TestFrameAndNormalisationKeepTheFunction(t *testing.T) {
	teacher := randomTeacher(31, model.GRUResetAfter)
	task := newTask(teacher, nil, 0.5)
	frame := task.frame()
	for o, out := range frame.Outputs {
		if _, std := spread(task.labelled(), o, 1); out.Std != std {
			t.Errorf("output %d has scale %v, want %v", o, out.Std, std)
		}
	}
	other := slices.Clone(teacher.Features)
	for i := range other {
		other[i].Mean += 1
		other[i].Std *= 3
	}
	for _, s := range task.HeldBack.Sequences {
		want, got := make([]float64, len(s.Y)), make([]float64, len(s.Y))
		task.Start.Predict(s, want)
		for name, p := range map[string]*dataset.Float{"frame": frame,
			"features": Renormalise(task.Start, other)} {
			p.Predict(s, got)
			for k := range got {
				if math.Abs(got[k]-want[k]) > 1e-12 {
					t.Fatalf("%s: step %d gives %v, want %v", name, k/2, got[k], want[k])
				}
			}
		}
	}
}

func TestBlendsLieBetweenRecordings(t *testing.T) {
	rec := &dataset.Recordings{Features: 2, Outputs: 1, Sequences: []*dataset.Sequence{
		{Steps: 3, X: []float64{0, 10, 1, 11, 2, 12}, Y: []float64{1, 2, 3}},
		{Steps: 2, X: []float64{4, 20, 5, 21}, Y: []float64{1, 2}},
	}}
	given := newDrift(rec, []int{0, 1})
	random := func() *rand.Rand { return rand.New(rand.NewPCG(1, 1)) }
	// value reads a feature as it is.
	value := func(e *example, step, feature int) float64 {
		x := make([]float32, lanes.Width)
		(&reader{kept: []int{feature}, mean: []float64{0}, std: []float64{1}, features: 2}).read(x,
			3, e, step)
		return float64(x[3])
	}
	between := invent(rec, given, 4, 0, random())
	if len(between) != 8 {
		t.Fatalf("%d sequences, want 4 for each of 2", len(between))
	}
	for _, e := range between {
		for step := range e.steps {
			// The sequences differ by 4 and 10, so a share of one shows in both features.
			x, y := value(&e, step, 0), value(&e, step, 1)
			a, b := (x-float64(step))/4, (y-float64(step)-10)/10
			if math.Abs(a-b) > 1e-6 || a < 0 || a > 1 {
				t.Errorf("step %d: %v and %v lie %v and %v between the two", step, x, y, a, b)
			}
		}
	}
	shifted := invent(rec, given, 4, 1, random())
	for i, e := range shifted {
		for k := range 2 * e.steps {
			by := func(k int) float64 {
				return value(&e, k/2, k%2) - value(&between[i], k/2, k%2)
			}
			if first := by(k % 2); math.Abs(by(k)-first) > 1e-5 || first == 0 {
				t.Errorf("sequence %d: value %d is not shifted as the first is, by %v", i, k, first)
			}
		}
	}
	if !reflect.DeepEqual(shifted, invent(rec, given, 4, 1, random())) {
		t.Error("the same seed gives other sequences")
	}
}

func TestFewRecordingsAreFilledUp(t *testing.T) {
	s := Defaults() // at most 30 for each
	for _, c := range []struct{ steps, want int }{{100000, 0}, {8000, 2}, {100, 30}} {
		if got := s.blends(c.steps); got != c.want {
			t.Errorf("%d steps: %d invented sequences for each, want %d", c.steps, got, c.want)
		}
	}
	if s.Blends = 0; s.blends(100) != 0 {
		t.Error("sequences are invented although none are wanted")
	}
}

func TestSplit(t *testing.T) {
	sequences := func(scenarios ...string) *dataset.Recordings {
		rec := &dataset.Recordings{}
		for _, s := range scenarios {
			rec.Sequences = append(rec.Sequences, &dataset.Sequence{Scenario: s, Steps: 1})
		}
		return rec
	}
	for _, c := range []struct {
		rec                *dataset.Recordings
		training, heldBack int
	}{
		{sequences("a"), 1, 1},
		{sequences("a", "b"), 1, 1},
		{sequences("a", "b", "a"), 2, 1},
		{sequences("a", "b", "a", "b", "a", "b", "a", "b", "a", "b"), 8, 2},
	} {
		training, heldBack := Split(c.rec)
		if len(training.Sequences) != c.training || len(heldBack.Sequences) != c.heldBack {
			t.Errorf("%d sequences: %d and %d", len(c.rec.Sequences), len(training.Sequences),
				len(heldBack.Sequences))
		}
		if c.heldBack == 2 && heldBack.Sequences[0].Scenario == heldBack.Sequences[1].Scenario {
			t.Error("both sequences held back are of one scenario")
		}
	}
}

func TestSettingsAreChecked(t *testing.T) {
	if err := Defaults().Check(); err != nil {
		t.Error(err)
	}
	for name, spoil := range map[string]func(s *Settings){
		"epochs": func(s *Settings) { s.Epochs = -1 },
		"share":  func(s *Settings) { s.Share = math.NaN() },
		"length": func(s *Settings) { s.Length = 0 },
		"rate":   func(s *Settings) { s.Rate = 0 },
		"decay":  func(s *Settings) { s.Decay = -1 },
		"clip":   func(s *Settings) { s.Clip = math.Inf(1) },
	} {
		s := Defaults()
		spoil(&s)
		if s.Check() == nil {
			t.Errorf("%s: nothing wrong with %+v", name, s)
		}
	}
}
