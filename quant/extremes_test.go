package quant

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/prune"
)

// seenDifference returns the average and the largest difference over the steps of recordings at
// which errors count, computed one after the other.
func seenDifference(n *Network, p dataset.Predictor, rec *dataset.Recordings, output int) (
	mean, most float64) {
	steps := 0
	for _, s := range rec.Sequences {
		for i, d := range differences(n, p, s) {
			if i%rec.Outputs == output && i/rec.Outputs >= s.Settle {
				mean, most, steps = mean+d, max(most, d), steps+1
			}
		}
	}
	return mean / float64(steps), most
}

// On every job the first features and units are cut, whatever that costs. The difference from the
// network as given is the difference that the recordings show, and more than the difference that
// rounding adds; no difference that is found is less than the largest that is seen.
func TestDifferenceFromTheNetworkAsGiven(t *testing.T) {
	demoJob, city, slowJob := jobs(t)
	for _, job := range []*accuracyJob{demoJob, city, slowJob} {
		statistics := prune.MeasureStatistics(job.p, job.selection)
		features := prune.Without(job.p.Net.Inputs(), 0, 1)
		units := prune.Without(job.p.Net.Recurrent[0].Units, 0)
		made := statistics.Cut(features, [][]int{units}, prune.Refit)
		net := mustQuantize(t, made, Calibrate(made, job.selection), Widths(8, 8, 8, 16))
		e := must(net.Extremes(t.Context(), made, job.p, job.signoff))
		for o, given := range e.Given {
			rounding := e.Rounding[o]
			name := job.name + " " + job.p.Outputs[o].Name
			t.Logf("%s: given %.4g, rounding %.4g", name, given, rounding)
			for k, c := range []struct {
				out OutputExtreme
				p   *dataset.Float
			}{{given, job.p}, {rounding, made}} {
				mean, most := seenDifference(net, c.p, job.signoff, o)
				out := c.out
				if math.Abs(out.Mean-mean) > 1e-9*mean || out.Seen != most {
					t.Errorf("%s, network %d: mean %g, seen %g; one after the other give %g and %g",
						name, k, out.Mean, out.Seen, mean, most)
				}
				if !(out.Mean > 0 && out.Seen > out.Mean && out.Found >= out.Seen &&
					out.Any >= out.Found && out.Dropped >= out.Found) {
					t.Errorf("%s, network %d: %+v is not in order", name, k, out)
				}
			}
			if given.Mean <= rounding.Mean || given.Seen <= rounding.Seen {
				t.Errorf("%s: given %+v, rounding %+v: the cut shows nothing", name, given,
					rounding)
			}
			if rounding.Dropped != rounding.Found {
				t.Errorf("%s: features that neither network takes part them", name)
			}
		}
	}
}

// leak is a unit that adds x1 - x0 to nine tenths of its state, never below 0, and gives it as
// output; the cut network takes x1 to be 0.
func leak(t *testing.T) (given, made *dataset.Float, net *Network) {
	t.Helper()
	features := []dataset.Feature{{Name: "x0", Std: 1}, {Name: "x1", Std: 1}}
	outputs := []dataset.Output{{Name: "h", Std: 1}}
	network := func(w ...float64) *model.Network {
		layer := &model.Recurrent{Kind: model.ElmanReLU, Inputs: len(w), Units: 1,
			W: w, U: []float64{0.9}, B: []float64{0}, D: []float64{0}}
		head := &model.Dense{Inputs: 1, Outputs: 1, W: []float64{1}, B: []float64{0}}
		return &model.Network{Recurrent: []*model.Recurrent{layer}, Dense: []*model.Dense{head}}
	}
	given = dataset.NewFloat(network(-1, 1), features, outputs)
	made = &dataset.Float{Net: network(-1), Features: features, Kept: []int{0}, Outputs: outputs}
	// Ranges are those of x0 at its least for long: the state comes to 3/(1 - 0.9) = 30.
	rec := &dataset.Recordings{Features: 2, Outputs: 1, Sequences: []*dataset.Sequence{
		{Steps: 100, X: slices.Repeat([]float64{-3, 0}, 100), Y: make([]float64, 100)}}}
	return given, made, mustQuantize(t, made, Calibrate(made, rec), Widths(16, 16, 16, 16))
}

// leakRecordings has x0 above x1 but for three steps of thirty, and x1 at 2 for three steps and 0
// for five, in sequences of many lengths.
func leakRecordings() *dataset.Recordings {
	random := rand.New(rand.NewPCG(3, 3))
	rec := &dataset.Recordings{Features: 2, Outputs: 1}
	for _, steps := range []int{700, 3, 40, 1, 300, 256, 255} {
		s := &dataset.Sequence{Steps: steps, Y: make([]float64, steps)}
		for step := range steps {
			x0 := 2.2 + 0.8*random.Float64()
			if step%30 < 3 {
				x0 = -3
			}
			x1 := 0.0
			if step%8 < 3 {
				x1 = 2
			}
			s.X = append(s.X, x0, x1)
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// While x0 is at its least, nothing is cut off at 0, and the cut network lacks the sum of 0.9^k
// times x1 k steps before. More it never lacks, because cutting off at 0 brings no two numbers
// further apart. With x1 at 2 throughout the sum comes to 20; as recorded it is largest after the
// last of three steps at 2, and is 2·(1 + 0.9 + 0.81)/(1 - 0.9^8) at most. The recordings show much
// less, for x0 is seldom at its least.
func TestSearchFindsTheWorstOfADroppedFeature(t *testing.T) {
	given, made, net := leak(t)
	e := must(net.Extremes(t.Context(), made, given, leakRecordings()))
	out := e.Given[0]
	t.Logf("given %+v, rounding %+v", out, e.Rounding[0])
	asRecorded := 2 * (1 + 0.9 + 0.81) / (1 - math.Pow(0.9, 8))
	if out.Seen > 0.6*asRecorded {
		t.Errorf("the recordings show %g of %g: the case shows nothing", out.Seen, asRecorded)
	}
	if out.Found < 0.8*asRecorded || out.Found > 1.01*asRecorded {
		t.Errorf("found %g with x1 as recorded, the largest is %g", out.Found, asRecorded)
	}
	if out.Dropped < 0.8*20 || out.Dropped > 1.01*20 {
		t.Errorf("found %g with x1 anywhere in its range, the largest is 20", out.Dropped)
	}
	if r := e.Rounding[0]; r.Any > 0.01*asRecorded {
		t.Errorf("rounding alone makes %g", r.Any)
	}
}

// probe is a network as given that looks at the sequences it is asked to predict.
type probe struct {
	*dataset.Float
	asked func(s *dataset.Sequence)
}

func (p probe) Predict(s *dataset.Sequence, dst []float64) {
	p.asked(s)
	p.Float.Predict(s, dst)
}

// isRecorded reports whether a feature of an attack follows some steps of the recordings.
func isRecorded(rec *dataset.Recordings, s *dataset.Sequence, feature int) bool {
	for _, r := range rec.Sequences {
		for first := 0; first+s.Steps <= r.Steps; first++ {
			same := true
			for step := 0; step < s.Steps && same; step++ {
				same = s.X[step*rec.Features+feature] == r.X[(first+step)*rec.Features+feature]
			}
			if same {
				return true
			}
		}
	}
	return false
}

// Where moves may not set the dropped feature, it follows the recordings step by step, in every
// attack, while the kept one leaves them; kept within its recorded range or not. No attack of the
// whole search sets the dropped feature while the kept one is beyond its range.
func TestDroppedFeaturesFollowTheRecordings(t *testing.T) {
	given, made, net := leak(t)
	rec := leakRecordings()
	for i, s := range rec.Sequences { // a window is known by values that stand nowhere else
		for step := range s.Steps {
			s.X[2*step+1] += float64(i) + float64(step)/1024
		}
	}
	recorded, held := recordedBounds(rec), net.inputBounds(rec.Features)
	isWithin := func(s *dataset.Sequence, feature int) bool {
		for step := range s.Steps {
			if v := s.X[2*step+feature]; v < recorded.low[feature] || v > recorded.high[feature] {
				return false
			}
		}
		return true
	}
	for which, b := range []bounds{recorded, held} {
		moved := 0
		r := newRival(made)
		r.Predictor = probe{given, func(s *dataset.Sequence) {
			if !isRecorded(rec, s, 1) {
				t.Fatalf("range %d: the dropped feature does not follow the recordings", which)
			}
			if which == 0 && !isWithin(s, 0) {
				t.Fatal("the kept feature leaves its recorded range")
			}
			if !isRecorded(rec, s, 0) {
				moved++
			}
		}}
		random := rand.New(rand.NewPCG(1, 1))
		a := &attacker{net, r, 0, b, net.Columns, newWindows(rec), random}
		a.climb(t.Context(), window(rec.Sequences[0], 300))
		if moved < attackMost*attackBatch*9/10 {
			t.Errorf("range %d: %d attacks change the kept feature", which, moved)
		}
		drawn := map[int]bool{}
		for range 2000 {
			drawn[a.start().Steps] = true
		}
		if !drawn[attackSteps] || !drawn[40] {
			t.Errorf("random attacks have the lengths %v", drawn)
		}
	}
	follows, free := 0, 0
	whole := newRival(given)
	whole.Predictor = probe{given, func(s *dataset.Sequence) {
		switch {
		case isRecorded(rec, s, 1):
			follows++
		case !isWithin(s, 0) || !isWithin(s, 1):
			t.Error("a dropped feature is set in an attack that leaves the recorded ranges")
		default:
			free++
		}
	}}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1)) // the probe counts
	net.extremes(t.Context(), newRival(made), whole, rec)
	if free < attackMost*attackBatch*9/10 || follows < 2*free*9/10 {
		t.Errorf("x1 follows the recordings in %d attacks and is set in %d", follows, free)
	}
}

// Steps at which no error counts add neither to the average nor to the largest difference, also
// where they are all steps of a sequence.
func TestSettledStepsAloneAreSeen(t *testing.T) {
	given, made, net := leak(t)
	rec := leakRecordings()
	before := must(net.Extremes(t.Context(), made, given, rec))
	for _, s := range rec.Sequences {
		s.Settle = min(250, s.Steps)
	}
	e := must(net.Extremes(t.Context(), made, given, rec))
	for k, out := range []OutputExtreme{e.Given[0], e.Rounding[0]} {
		mean, most := seenDifference(net, []dataset.Predictor{given, made}[k], rec, 0)
		if math.Abs(out.Mean-mean) > 1e-9*mean || out.Seen != most {
			t.Errorf("network %d: mean %g, seen %g; the steps behind the start have %g and %g",
				k, out.Mean, out.Seen, mean, most)
		}
	}
	if e.Given[0].Mean == before.Given[0].Mean || e.Given[0].Found < e.Given[0].Seen {
		t.Errorf("%+v, with every step %+v", e.Given[0], before.Given[0])
	}
}

// An attack that goes on from the step at which it departs from the best attack gives the same as
// the attack from its first step on, for every kind of layer.
func TestAttacksGoOnWhereTheyDepart(t *testing.T) {
	all := everyStack()
	for i, n := range all[len(all)-2:] { // both together have every kind
		given := layered(uint64(i), n.Kinds, n.Activations)
		made := layered(uint64(i), n.Kinds, n.Activations)
		made.Kept = []int{4, 1, 0, 5, 2}
		narrowInput(made.Net.Recurrent[0], len(made.Kept))
		rec := RandomRecordings(uint64(i), given, 3, 60)
		net := mustQuantize(t, made, Calibrate(made, rec), Uniform(made.Net, 8, 8, 16))
		climb := func(p dataset.Predictor) separation {
			r := newRival(given)
			r.Predictor = p
			random := rand.New(rand.NewPCG(2, 2))
			a := &attacker{net, r, 0, recordedBounds(rec), net.Columns, newWindows(rec), random}
			return *a.climb(t.Context(), window(rec.Sequences[0], 30))
		}
		got, want := climb(given), climb(probe{given, func(*dataset.Sequence) {}})
		if got.difference != want.difference || got.step != want.step ||
			!slices.Equal(got.attack.X, want.attack.X) {
			t.Errorf("%v %v: %g at step %d, from the first step %g at step %d", n.Kinds,
				n.Activations, got.difference, got.step, want.difference, want.step)
		}
	}
}
