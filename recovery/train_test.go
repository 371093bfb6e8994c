package recovery

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/fault"
	"kerf/model"
	"kerf/quant"
)

var kinds = []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM, model.ElmanTanh,
	model.ElmanReLU}

const features = 3

// randomTeacher returns a network with a layer of each given kind, a dense layer and a head of two
// outputs.
func randomTeacher(seed uint64, kinds ...model.Kind) *dataset.Float {
	random := rand.New(rand.NewPCG(seed, 1))
	values := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = random.NormFloat64() / 2
		}
		return v
	}
	net, width := &model.Network{}, features
	for _, k := range kinds {
		const units = 4
		rows := k.Gates() * units
		net.Recurrent = append(net.Recurrent, &model.Recurrent{Kind: k, Inputs: width, Units: units,
			W: values(rows * width), U: values(rows * units), B: values(rows), D: values(rows)})
		width = units
	}
	net.Dense = []*model.Dense{
		{Inputs: width, Outputs: 3, W: values(3 * width), B: values(3), Activation: model.Tanh},
		{Inputs: 3, Outputs: 2, W: values(6), B: values(2)},
	}
	var inputs []dataset.Feature
	for i := range features {
		inputs = append(inputs,
			dataset.Feature{Name: fmt.Sprint("f", i), Mean: random.NormFloat64(),
				Std: 0.5 + random.Float64()})
	}
	return dataset.NewFloat(net, inputs,
		[]dataset.Output{{Name: "leakage", Mean: 3, Std: 2}, {Name: "air", Mean: -1, Std: 0.5}})
}

// recorded returns sequences of normal features; the reference is the output of the teacher, with
// noise.
func recorded(seed uint64, p *dataset.Float, sequences int, noise float64) *dataset.Recordings {
	random := rand.New(rand.NewPCG(seed, 2))
	rec := &dataset.Recordings{Features: features, Outputs: 2, Classes: p.Classes}
	for i := range sequences {
		s := &dataset.Sequence{Name: fmt.Sprint(i),
			Scenario: []string{"warm_up", "fast_cycling"}[i%2], Steps: 20 + i%7}
		for range s.Steps {
			for _, f := range p.Features {
				s.X = append(s.X, f.Mean+f.Std*random.NormFloat64())
			}
		}
		s.Y = make([]float64, s.Steps*2)
		p.Predict(s, s.Y)
		for k := range s.Y {
			s.Y[k] += noise * random.NormFloat64()
		}
		for at := 0; p.Classes && at < len(s.Y); at += 2 {
			class := dataset.Class(s.Y[at : at+2])
			s.Y[at+class], s.Y[at+1-class] = 1, 0
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// disturbed returns a network whose weights lie beside those of the teacher.
func disturbed(p *dataset.Float, by float64) *dataset.Float {
	random := rand.New(rand.NewPCG(9, 9))
	q := *p
	q.Net = p.Net.Clone()
	for _, values := range q.Net.Values() {
		for i := range values {
			values[i] += by * random.NormFloat64()
		}
	}
	return &q
}

func newTask(teacher *dataset.Float, formats *quant.Formats, noise float64) *Task {
	training, heldBack := Split(recorded(3, teacher, 12, noise))
	return &Task{Start: disturbed(teacher, 0.2), Teacher: teacher, Formats: formats,
		Training: training, HeldBack: heldBack}
}

func brief(epochs int) Settings {
	s := Defaults()
	s.Epochs, s.Length, s.Rate, s.Blends = epochs, 8, 0.01, 0
	return s
}

func silent(*Result) {}

func mustTrain(t *testing.T, task *Task, s Settings, c *Checkpoint) *Result {
	t.Helper()
	r, err := Train(context.Background(), task, s, c, silent)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestTrainingComesBackToTheTeacher(t *testing.T) {
	for _, fixed := range []bool{false, true} {
		stacks := [][]model.Kind{{model.LSTM, model.GRUResetAfter}}
		for _, k := range kinds {
			stacks = append(stacks, []model.Kind{k})
		}
		for i, stack := range stacks {
			t.Run(fmt.Sprint(stack, fixed), func(t *testing.T) {
				teacher := randomTeacher(uint64(i), stack...)
				var formats *quant.Formats
				if fixed {
					f := quant.Uniform(teacher.Net, 8, 16, 16)
					formats = &f
				}
				task := newTask(teacher, formats, 0)
				before := task.Start.Net.Clone()
				r := mustTrain(t, task, brief(30), nil)
				last := r.Epochs[r.Best-1].HeldBack
				if !(last < r.Start/10) {
					t.Errorf("loss %g before, %g after %d epochs: %v", r.Start, last, r.Best,
						r.Epochs)
				}
				if !reflect.DeepEqual(before, task.Start.Net) {
					t.Error("the network to start with was changed")
				}
				// The loss is in squared errors of the teacher against the reference, here the
				// least that counts, of outputs with variance 1: 1e-4. So the distance of the
				// result can be checked from outside.
				sum, spread := 0.0, make([]float64, 2)
				for o := range spread {
					_, spread[o] = spreadOf(task, o)
				}
				var p dataset.Predictor = r.Net
				if fixed {
					n, err := quant.Quantize(r.Net, quant.Calibrate(r.Net, task.Training),
						*formats, quant.Nearest)
					if err != nil {
						t.Fatal(err)
					}
					p = n
				}
				for _, s := range task.HeldBack.Sequences {
					y := make([]float64, len(s.Y))
					p.Predict(s, y)
					for k := range y {
						e := (y[k] - s.Y[k]) / spread[k%2]
						sum += e * e / 1e-4
					}
				}
				got := sum / float64(2*task.HeldBack.Steps())
				slack := 1e-6
				if fixed {
					// the head is scaled back to the physical unit before it is rounded
					slack = 0.02
				}
				if math.Abs(got/last-1) > slack {
					t.Errorf("loss of the result is %g, the training says %g", got, last)
				}
			})
		}
	}
}

func spreadOf(task *Task, output int) (mean, std float64) {
	return spread(task.labelled(), output, 1)
}

func TestClassesAreTrained(t *testing.T) {
	for _, activation := range []model.Activation{model.Identity, model.Logistic} {
		teacher := randomTeacher(21, model.GRUResetAfter)
		teacher.Classes = true
		teacher.Outputs = []dataset.Output{{Name: "calm", Std: 1}, {Name: "worn", Std: 1}}
		teacher.Net.Dense[1].Activation = activation
		for _, share := range []float64{0, 1} {
			task := newTask(teacher, nil, 0)
			s := brief(30)
			s.Share = share
			r := mustTrain(t, task, s, nil)
			agree := func(p *dataset.Float) float64 {
				return dataset.Measure(p, task.HeldBack, nil).Value(nil, dataset.Slice{Region: -1},
					dataset.Accuracy)
			}
			before, after := agree(task.Start), agree(r.Net)
			if r.Best == 0 || !(after > before || after >= 0.95) {
				t.Errorf("%v, share %g: accuracy %g before and %g after, epochs %v from %g",
					activation, share, before, after, r.Epochs, r.Start)
			}
		}
	}
}

func TestResultDoesNotDependOnCores(t *testing.T) {
	f := quant.Uniform(randomTeacher(5, model.LSTM).Net, 8, 16, 32)
	run := func(cores int) *Result {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		s := brief(4)
		s.Blends = 1
		return mustTrain(t, newTask(randomTeacher(5, model.LSTM), &f, 0.1), s, nil)
	}
	one, four := run(1), run(4)
	if !reflect.DeepEqual(one, four) {
		t.Errorf("1 core gives %v, 4 give %v", one.Epochs, four.Epochs)
	}
	other := brief(4)
	other.Blends = 1
	other.Seed++
	if r := mustTrain(t, newTask(randomTeacher(5, model.LSTM), &f, 0.1), other,
		nil); reflect.DeepEqual(r.Epochs, one.Epochs) {
		t.Error("another seed gives the same training")
	}
}

// TestSameTrainingOnEveryMachine pins the weights of trained networks by a checksum, which was
// computed by this package on amd64 with AVX2. amd64 without AVX2, 386 and arm64 must give the
// same. Weights, features and outputs are whole thousandths, so that nothing before the training
// differs.
func TestSameTrainingOnEveryMachine(t *testing.T) {
	thousandths := func(values []float64) {
		for i, v := range values {
			values[i] = math.Round(v*1000) / 1000
		}
	}
	sum := fnv.New64a()
	for i, kind := range kinds {
		teacher := randomTeacher(uint64(i), kind)
		task := newTask(teacher, nil, 0.1)
		for _, net := range []*model.Network{teacher.Net, task.Start.Net} {
			for _, values := range net.Values() {
				thousandths(values)
			}
		}
		for j := range teacher.Features {
			f := &teacher.Features[j]
			f.Mean, f.Std = math.Round(1000*f.Mean)/1000, math.Round(1000*f.Std)/1000
		}
		for _, rec := range []*dataset.Recordings{task.Training, task.HeldBack} {
			for _, s := range rec.Sequences {
				thousandths(s.X)
				thousandths(s.Y)
			}
		}
		if i%2 == 1 {
			f := quant.Uniform(teacher.Net, 8, 16, 16)
			task.Formats = &f
		}
		s := brief(3)
		s.Blends = 2
		for _, values := range mustTrain(t, task, s, nil).Net.Net.Values() {
			for _, v := range values {
				sum.Write(binary.LittleEndian.AppendUint64(nil, math.Float64bits(v)))
			}
		}
	}
	const want = 0xf9adbfbd92d2740d
	if got := sum.Sum64(); got != want {
		t.Errorf("checksum %#x, want %#x", got, uint64(want))
	}
}

// TestRangesAreThoseOfTheCalibration: in float32 they are off by at most 1e-5 of their size
// (model/lanes, TestStepAgainstModel).
func TestRangesAreThoseOfTheCalibration(t *testing.T) {
	for i, stack := range [][]model.Kind{{model.LSTM, model.GRUResetAfter},
		{model.GRUResetBefore, model.ElmanReLU}, {model.ElmanTanh}} {
		p := randomTeacher(uint64(i), stack...)
		p.Kept = []int{0, 1, 2}
		rec := recorded(4, p, 11, 0)
		task := &Task{Start: p, Teacher: p, Training: rec, HeldBack: rec}
		got, want := ranges(p, task.recorded(p, rec, 1)), quant.Calibrate(p, rec)
		near := func(what string, a, b float64) {
			if math.Abs(a-b) > 1e-5*(1+b) {
				t.Errorf("%v: %s reaches %v, want %v", stack, what, a, b)
			}
		}
		near("an input", got.Input, want.Input)
		for k, v := range want.Features {
			near("a feature", got.Features[k], v)
		}
		for l, r := range want.Layers {
			near("a gate", got.Layers[l].Gate, r.Gate)
			near("a state", got.Layers[l].State, r.State)
			near("a cell", got.Layers[l].Cell, r.Cell)
		}
		for l, r := range want.Dense {
			near("a dense layer", got.Dense[l].Value, r.Value)
		}
	}
}

// cancelledAfter trains until some epochs are done, as Ctrl-C would.
func cancelledAfter(t testing.TB, epochs int, task *Task, s Settings, c *Checkpoint) *Result {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	r, err := Train(ctx, task, s, c, func(r *Result) {
		if len(r.Epochs) == epochs {
			cancel()
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// opened opens a checkpoint.
func opened(t testing.TB, file, key string) *Checkpoint {
	t.Helper()
	c, err := OpenCheckpoint(file, key)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestInterruptedTrainingsGoOn(t *testing.T) {
	f := quant.Uniform(randomTeacher(6, model.GRUResetAfter).Net, 8, 16, 16)
	task := func(name string) *Task {
		task := newTask(randomTeacher(6, model.GRUResetAfter), &f, 0.1)
		task.Name = name
		return task
	}
	short, long := mustTrain(t, task(""), brief(4), nil), mustTrain(t, task(""), brief(6), nil)
	file := filepath.Join(t.TempDir(), "training.json")
	c := opened(t, file, "a")
	mustTrain(t, task("short"), brief(4), c)
	part := cancelledAfter(t, 3, task("long"), brief(6), c)
	if part.Stopped != Interrupted || len(part.Epochs) != 3 || part.Best == 0 {
		t.Fatalf("stopped %q after %d epochs, best %d", part.Stopped, len(part.Epochs), part.Best)
	}
	if entries, err := os.ReadDir(filepath.Dir(file)); err != nil || len(entries) != 1 {
		t.Errorf("beside the checkpoint there is something else: %v %v", entries, err)
	}
	for name, want := range map[string]*Result{"short": short, "long": long} {
		epochs := len(want.Epochs)
		count := func(r *Result) int {
			trained := 0
			got, err := Train(context.Background(), task(name), brief(epochs), opened(t, file, "a"),
				func(*Result) { trained++ })
			if err != nil || !reflect.DeepEqual(got, want) {
				t.Errorf("%s in two parts: %v %v, in one: %v", name, got, err, want)
			}
			return trained
		}
		if n := count(want); name == "short" && n > 0 || name == "long" && n != 3 {
			t.Errorf("%s was trained for %d further epochs", name, n)
		}
		if n := count(want); n > 0 {
			t.Errorf("%s is finished and was trained for %d epochs", name, n)
		}
	}
}

// A training whose losses and weights are no longer finite is kept as any other.
func TestDivergedTrainingIsKept(t *testing.T) {
	task, s := newTask(randomTeacher(6, model.GRUResetAfter), nil, 0.1), brief(3)
	task.Training.Sequences[0].Y[0] = math.Inf(1)
	file := filepath.Join(t.TempDir(), "training.json")
	want := mustTrain(t, task, s, nil)
	if isFinite := want.Epochs[0].Training <= math.MaxFloat64; isFinite {
		t.Fatalf("the training did not diverge: %v", want.Epochs)
	}
	cancelledAfter(t, 1, task, s, opened(t, file, "a"))
	for range 2 { // %v takes NaN for equal to itself
		if got := mustTrain(t, task, s, opened(t, file, "a")); fmt.Sprint(got.Epochs) !=
			fmt.Sprint(want.Epochs) || got.Best != want.Best {
			t.Errorf("in two parts: %v, in one: %v", got.Epochs, want.Epochs)
		}
	}
}

func TestCheckpointsOfOthersAreRefused(t *testing.T) {
	task := newTask(randomTeacher(6, model.GRUResetAfter), nil, 0.1)
	file := filepath.Join(t.TempDir(), "training.json")
	mustTrain(t, task, brief(1), opened(t, file, "a"))
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []struct{ key, content, says string }{
		{"b", string(whole), "belongs to another job"},
		{"a", string(whole[:len(whole)/2]), "is no whole checkpoint of kerf"},
		{"a", "{}", "is no whole checkpoint of kerf"},
		{"a", strings.Replace(string(whole), `"losses":"`, `"losses":"A`, 1), "is damaged"},
	} {
		if err := os.WriteFile(file, []byte(bad.content), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := OpenCheckpoint(file, bad.key)
		var refused *fault.Error
		if !errors.As(err, &refused) || !strings.Contains(err.Error(), bad.says) ||
			refused.Hint == "" {
			t.Errorf("got %v, want %q", err, bad.says)
		}
		if left, err := os.ReadFile(file); err != nil || string(left) != bad.content {
			t.Errorf("%s: the file was changed", bad.says)
		}
	}
	if err := os.WriteFile(file, whole, 0o600); err != nil {
		t.Fatal(err)
	}
	other := newTask(randomTeacher(7, model.LSTM), nil, 0.1)
	if _, err := Train(context.Background(), other, brief(1), opened(t, file, "a"),
		silent); err == nil || !strings.Contains(err.Error(), "no training of this network") {
		t.Errorf("a training of another network: %v", err)
	}
	if _, err := OpenCheckpoint(filepath.Join(t.TempDir(), "none", "training.json"),
		"a"); err == nil {
		t.Error("a checkpoint in a folder that does not exist was made")
	}
}

func TestTrainingEndsEarly(t *testing.T) {
	teacher := randomTeacher(7, model.GRUResetAfter)
	task := newTask(teacher, nil, 0)
	task.Start = teacher // nothing to gain
	still := brief(12)
	still.Rate = 1e-300 // every epoch is as good as the first
	r := mustTrain(t, task, still, nil)
	if r.Best != 0 || r.Net != task.Start || r.Stopped != NoGain ||
		len(r.Epochs) != 1+patience(12) {
		t.Errorf("best %d, stopped %q after %d epochs; want the start, no gain after %d", r.Best,
			r.Stopped, len(r.Epochs), 1+patience(12))
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	r, err := Train(ctx, task, brief(5), nil, silent)
	if err != nil || r.Stopped != Interrupted || r.Net != task.Start || len(r.Epochs) != 0 {
		t.Errorf("cancelled before it began: %+v, %v", r, err)
	}
}
