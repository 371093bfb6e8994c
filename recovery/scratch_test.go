package recovery

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
)

func TestScratchHasTheShapeThatIsAskedFor(t *testing.T) {
	like := randomTeacher(3, model.LSTM, model.GRUResetAfter)
	rec := recorded(3, like, 6, 0.1)
	p := Scratch(like, rec, []int{0, 2}, []int{5, 3}, 1)
	if err := p.Net.Validate(); err != nil {
		t.Fatal(err)
	}
	if got, want := p.Net.String(),
		"LSTM 2→5, GRU (reset-after) 5→3, dense 3→3 tanh, dense 3→2"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	if !reflect.DeepEqual(p.Kept, []int{0, 2}) || !reflect.DeepEqual(p.Outputs, like.Outputs) ||
		!reflect.DeepEqual(p.Features, like.Features) {
		t.Errorf("features %v of %v, outputs %v", p.Kept, p.Features, p.Outputs)
	}
	if !reflect.DeepEqual(p, Scratch(like, rec, []int{0, 2}, []int{5, 3}, 1)) ||
		reflect.DeepEqual(p.Net, Scratch(like, rec, []int{0, 2}, []int{5, 3}, 2).Net) {
		t.Error("weights do not follow from the seed")
	}
}

// TestScratchStartsAtTheMean checks the outputs through every last activation.
func TestScratchStartsAtTheMean(t *testing.T) {
	for a := model.Identity; a <= model.Logistic; a++ {
		like := randomTeacher(3, model.ElmanTanh)
		like.Net.Dense[1].Activation = a
		rec := recorded(3, like, 6, 0)
		p := Scratch(like, rec, []int{0, 1, 2}, []int{4}, 1)
		s := rec.Sequences[0]
		y := make([]float64, len(s.Y))
		p.Predict(s, y)
		for k, v := range y {
			if mean, _ := spread(rec, k%2, 1); math.Abs(v-mean) > 1e-12*math.Abs(mean) {
				t.Errorf("%v: output %d starts at %v, its mean is %v", a, k%2, v, mean)
			}
		}
	}
}

func TestScratchOfAClassifierStartsAtTheSharesOfClasses(t *testing.T) {
	like := constant(0, 0)
	like.Classes = true
	rec := &dataset.Recordings{Features: 1, Outputs: 2, Classes: true,
		Sequences: []*dataset.Sequence{{Steps: 4, X: make([]float64, 4),
			Y: []float64{0, 1, 1, 0, 0, 1, 0, 1}}}}
	y := make([]float64, 8)
	Scratch(like, rec, []int{0}, []int{2}, 1).Predict(rec.Sequences[0], y)
	if got := y[1] - y[0]; math.Abs(got-math.Log(3)) > 1e-12 { // shares 1/4 and 3/4
		t.Errorf("scores differ by %v, want log 3", got)
	}
}

func TestScratchSpreadsMemories(t *testing.T) {
	rec := &dataset.Recordings{Features: 1, Outputs: 1,
		Sequences: []*dataset.Sequence{{Steps: 300}, {Steps: 500}}}
	for _, kind := range []model.Kind{model.GRUResetAfter, model.LSTM, model.ElmanReLU} {
		like := constant(0)
		like.Net.Recurrent[0].Kind = kind
		l := Scratch(like, rec, []int{0}, []int{4}, 1).Net.Recurrent[0]
		// From 2 to 400 steps in four parts of one ratio.
		low := 2.0
		for u := range l.Units {
			memory := 1 + math.Exp(l.B[min(l.Units+u, len(l.B)-1)])
			if kind == model.ElmanReLU {
				memory = 1 / (1 - l.U[u*l.Units+u])
			}
			high := low * math.Pow(200, 0.25)
			if !(memory >= low*(1-1e-9) && memory <= high*(1+1e-9)) {
				t.Errorf("%v: unit %d remembers %v steps, want %v to %v", kind, u, memory, low,
					high)
			}
			if kind == model.LSTM && l.B[u] != -l.B[l.Units+u] {
				t.Errorf("unit %d: input gate %v, forget gate %v", u, l.B[u], l.B[l.Units+u])
			}
			low = high
		}
	}
}

func TestRecurrentWeightsAreOrthogonal(t *testing.T) {
	d := &draws{random: rand.New(rand.NewPCG(1, 1))}
	for _, size := range []int{1, 2, 7, 20} {
		m := d.orthogonal(size)
		for a := range size {
			for b := range size {
				dot, want := 0.0, 0.0
				for k := range size {
					dot += m[a*size+k] * m[b*size+k]
				}
				if a == b {
					want = 1
				}
				if math.Abs(dot-want) > 1e-12 {
					t.Errorf("size %d: rows %d and %d have the product %v", size, a, b, dot)
				}
			}
		}
	}
}

// TestScratchLearns: a network of every kind, trained from the beginning, leaves little of the
// error of a constant.
func TestScratchLearns(t *testing.T) {
	for i, kind := range kinds {
		for _, fixed := range []bool{false, true} {
			teacher := randomTeacher(uint64(i), kind)
			task := newTask(teacher, nil, 0)
			if fixed {
				f := quant.Uniform(teacher.Net, 8, 16, 16)
				task.Formats = &f
			}
			task.Start = Scratch(teacher, task.Training, []int{0, 1, 2}, []int{4}, 1)
			s := brief(60)
			s.Blends = 3
			if r := mustTrain(t, task, s, nil); r.Best == 0 ||
				!(r.Epochs[r.Best-1].HeldBack < 0.2*r.Start) {
				t.Errorf("%v, fixed %v: loss %v before and %v after", kind, fixed, r.Start,
					r.Epochs[max(0, r.Best-1)])
			}
		}
	}
}
