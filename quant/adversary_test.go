package quant

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// On the demo the search finds more than the recordings show and more than random
// ends of range, and fills rows of the recurrent matrix. A second search finds the same.
func TestSearchFindsWorseInputs(t *testing.T) {
	job, _, _ := jobs(t)
	net := job.fixed(t, 8, 8, 16, AtStateHalf)
	e := net.Extremes(job.p, job.signoff)
	for o, out := range e.Outputs {
		t.Logf("%s: mean %.4g, seen %.4g, found %.4g, any %.4g %s", net.Outputs[o].Name, out.Mean, out.Seen, out.Found, out.Any, net.Outputs[o].Unit)
		if !(out.Mean > 0 && out.Mean < out.Seen && out.Seen < out.Found && out.Found <= out.Any) {
			t.Errorf("output %d: %+v is not in order", o, out)
		}
		// As many attacks at random as the search tries.
		random := rand.New(rand.NewPCG(9, 9))
		a := &attacker{net: net, float: job.p, output: o, bounds: net.inputBounds(job.signoff.Features), random: random}
		atRandom := 0.0
		for range net.batches() {
			var attacks []*dataset.Sequence
			for range attackBatch {
				attacks = append(attacks, a.bounds.random(random, attackSteps, net.Columns))
			}
			atRandom = max(atRandom, a.worst(attacks).difference)
		}
		t.Logf("%d attacks at random: %.4g", attackBatch*net.batches(), atRandom)
		if out.Any <= atRandom {
			t.Errorf("output %d: the search finds %.4g, random attacks %.4g", o, out.Any, atRandom)
		}
	}
	for i, m := range net.Matrices() {
		a := e.Accumulators[i]
		t.Logf("%s: seen %d, found %d, share %.3f, bound %d", m.Name, a.Seen, a.Found, a.Share, slices.Max(m.Bound))
		if a.Seen <= 0 || a.Found < a.Seen || a.Found > slices.Max(m.Bound) || a.Share > 1 {
			t.Errorf("%s: %+v", m.Name, a)
		}
	}
	if share := e.Accumulators[0].Share; share < 0.999 {
		t.Errorf("inputs fill a row of the first matrix to %.3f, all of it can be filled", share)
	}
	if share := e.Accumulators[1].Share; share < nearBound {
		t.Errorf("a row of the recurrent matrix fills to %.3f of its bound, want %.2f", share, nearBound)
	}
	again := net.Extremes(job.p, job.signoff)
	if !slices.Equal(again.Outputs, e.Outputs) || !slices.Equal(again.Accumulators, e.Accumulators) {
		t.Error("a second search finds something else")
	}
}

// A layer without memory has as many answers as inputs: all of them are tried, and
// the search finds the worst.
func TestSearchFindsTheWorstOfAllInputs(t *testing.T) {
	for seed := range uint64(6) {
		p := RandomFloat(seed, 1, 2, 1)
		layer := &model.Recurrent{Kind: model.ElmanReLU, Inputs: 1, Units: 2, W: []float64{0.31, -0.47}, U: make([]float64, 4), B: []float64{0.2, 0.1}, D: make([]float64, 2)}
		p.Net.Recurrent[0] = layer
		rec := RandomRecordings(seed, p, 2, 50)
		net := mustQuantize(t, p, Calibrate(p, rec), Widths(4, 4, 8, 16))
		b := net.inputBounds(1)
		every := &dataset.Sequence{Steps: 1 << 16, X: make([]float64, 1<<16)}
		for i := range every.X {
			every.X[i] = b.low[0] + (b.high[0]-b.low[0])*float64(i)/(1<<16-1)
		}
		worst := slices.Max(net.differences(p, every))
		e := net.Extremes(p, rec)
		if got := e.Outputs[0].Any; got < 0.97*worst || got > 1.0001*worst {
			t.Errorf("seed %d: found %.5g, the worst of all inputs is %.5g", seed, got, worst)
		}
		mean, steps := 0.0, 0
		seen := 0.0
		for _, s := range rec.Sequences {
			for _, d := range net.differences(p, s) {
				mean, seen, steps = mean+d, max(seen, d), steps+1
			}
		}
		if out := e.Outputs[0]; out.Seen != seen || math.Abs(out.Mean-mean/float64(steps)) > 1e-12 {
			t.Errorf("seed %d: mean %g, seen %g; one after the other give %g and %g", seed, out.Mean, out.Seen, mean/float64(steps), seen)
		}
	}
}

// Every kind of layer and state is watched without breaking a bound.
func TestEveryKindIsSearched(t *testing.T) {
	for i, n := range everyStack() {
		if i > int(model.ElmanReLU) && i%2 == 0 { // every kind alone, and half of the others
			continue
		}
		p := layered(uint64(i), n.Kinds, n.Activations)
		rec := RandomRecordings(uint64(i), p, 2, 60)
		net := mustQuantize(t, p, Calibrate(p, rec), Uniform(p.Net, 8, 8, []int{16, 32}[i%2]))
		e := net.Extremes(p, rec)
		for at, m := range net.Matrices() {
			if a := e.Accumulators[at]; a.Seen < 1 || a.Found < a.Seen || a.Share > 1 {
				t.Errorf("%v, %s: %+v", n, m.Name, a)
			}
		}
		if out := e.Outputs[0]; !(out.Seen > 0 && out.Any >= out.Found && out.Found >= out.Seen) {
			t.Errorf("%v: %+v", n, out)
		}
	}
}

// A search takes as long whatever the network: fewer batches for a larger one, within bounds. 20 features and 30 units have
// 3·30·(20+30) + 2·30 = 4560 products; two networks, 8 attacks of 256 steps take 18.7 million of them, so 8e8 give 42 batches.
func TestBatchesFollowTheSize(t *testing.T) {
	for want, size := range map[int][2]int{attackMost: {4, 5}, 42: {20, 30}, attackLeast: {64, 80}} {
		if got := randomNetwork(t, 1, size[0], size[1], 2, Widths(8, 8, 8, 16)).batches(); got != want {
			t.Errorf("%v features and units: %d batches, want %d", size, got, want)
		}
	}
}

// A move holds some of the given features, each at one value within its range. All are held over the same steps: these begin
// less than 128 before the given one, and are 1 to 16, or all up to it. Nothing else changes.
func TestMoveChangesStepsBeforeTheGivenOne(t *testing.T) {
	const features, untouched = 3, 1
	columns := []int{0, 2}
	b := bounds{make([]float64, features), []float64{1, 1, 1}}
	random := rand.New(rand.NewPCG(10, 0))
	attack := &dataset.Sequence{Steps: attackSteps, X: slices.Repeat([]float64{-1}, attackSteps*features)} // no value that a move sets
	lengths := map[int]bool{}
	for i := range 500 {
		before := random.IntN(attackSteps)
		moved := b.move(random, attack, before, columns)
		first, last := -1, -1
		for step := range attackSteps {
			x := moved.X[step*features : (step+1)*features]
			if x[untouched] != -1 {
				t.Fatalf("move %d: it changes a feature that is not among the given ones", i)
			}
			if x[0] == -1 && x[2] == -1 {
				continue
			}
			if first < 0 {
				first = step
			}
			last = step
			for _, k := range columns {
				if v := x[k]; v != moved.X[first*features+k] || v != -1 && (v < 0 || v > 1) {
					t.Fatalf("move %d, step %d: feature %d is %g", i, step, k, v)
				}
			}
		}
		if first < 0 || first > before || first <= before-128 {
			t.Fatalf("move %d: it changes steps from %d on, the given one is %d", i, first, before)
		}
		length := last - first + 1
		if length > 16 && last != before {
			t.Fatalf("move %d: it changes steps %d to %d, the given one is %d", i, first, last, before)
		}
		lengths[length] = true
	}
	for length := 1; length <= 16; length++ {
		if !lengths[length] {
			t.Errorf("no move changes %d steps", length)
		}
	}
}
