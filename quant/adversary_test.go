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
	e := must(net.Extremes(t.Context(), job.p, job.p, job.signoff))
	for o, out := range e.Rounding {
		t.Logf("%s: mean %.4g, seen %.4g, found %.4g, any %.4g %s", net.Outputs[o].Name, out.Mean,
			out.Seen, out.Found, out.Any, net.Outputs[o].Unit)
		if !(out.Mean > 0 && out.Mean < out.Seen && out.Seen < out.Found && out.Found <= out.Any) {
			t.Errorf("output %d: %+v is not in order", o, out)
		}
		// As many attacks at random as the search tries.
		random := rand.New(rand.NewPCG(9, 9))
		a := &attacker{net: net, rival: newRival(job.p), output: o, columns: net.Columns,
			bounds: net.inputBounds(job.signoff.Features), random: random}
		atRandom := &separation{}
		for range a.batches() {
			var attacks []attack
			for range attackBatch {
				attacks = append(attacks, wholeAttack(a.start()))
			}
			atRandom = a.worst(atRandom, attacks)
		}
		t.Logf("%d attacks at random: %.4g", attackBatch*a.batches(), atRandom.difference)
		if out.Any <= atRandom.difference {
			t.Errorf("output %d: the search finds %.4g, random attacks %.4g", o, out.Any,
				atRandom.difference)
		}
	}
	for i, m := range net.Matrices() {
		a := e.Accumulators[i]
		t.Logf("%s: seen %d, found %d, share %.3f, bound %d", m.Name, a.Seen, a.Found, a.Share,
			slices.Max(m.Bound))
		if a.Seen <= 0 || a.Found < a.Seen || a.Found > slices.Max(m.Bound) || a.Share > 1 {
			t.Errorf("%s: %+v", m.Name, a)
		}
	}
	if share := e.Accumulators[0].Share; share < 0.999 {
		t.Errorf("inputs fill a row of the first matrix to %.3f, all of it can be filled", share)
	}
	if share := e.Accumulators[1].Share; share < nearBound {
		t.Errorf("a row of the recurrent matrix fills to %.3f of its bound, want %.2f", share,
			nearBound)
	}
	if !slices.Equal(e.Given, e.Rounding) {
		t.Error("nothing was cut, and the network as given is further away than the rounded one")
	}
	again := must(net.Extremes(t.Context(), job.p, job.p, job.signoff))
	if !slices.Equal(again.Rounding, e.Rounding) ||
		!slices.Equal(again.Accumulators, e.Accumulators) {
		t.Error("a second search finds something else")
	}
}

// A layer without memory has as many answers as inputs. All inputs are tried, and the search finds
// the worst.
func TestSearchFindsTheWorstOfAllInputs(t *testing.T) {
	for seed := range uint64(6) {
		p := RandomFloat(seed, 1, 2, 1)
		layer := &model.Recurrent{Kind: model.ElmanReLU, Inputs: 1, Units: 2,
			W: []float64{0.31, -0.47}, U: make([]float64, 4), B: []float64{0.2, 0.1},
			D: make([]float64, 2)}
		p.Net.Recurrent[0] = layer
		rec := RandomRecordings(seed, p, 2, 50)
		net := mustQuantize(t, p, Calibrate(p, rec), Widths(4, 4, 8, 16))
		b := net.inputBounds(1)
		every := &dataset.Sequence{Steps: 1 << 16, X: make([]float64, 1<<16)}
		for i := range every.X {
			every.X[i] = b.low[0] + (b.high[0]-b.low[0])*float64(i)/(1<<16-1)
		}
		worst := slices.Max(differences(net, p, every))
		e := must(net.Extremes(t.Context(), p, p, rec))
		if got := e.Rounding[0].Any; got < 0.97*worst || got > 1.0001*worst {
			t.Errorf("seed %d: found %.5g, the worst of all inputs is %.5g", seed, got, worst)
		}
		mean, steps := 0.0, 0
		seen := 0.0
		for _, s := range rec.Sequences {
			for _, d := range differences(net, p, s) {
				mean, seen, steps = mean+d, max(seen, d), steps+1
			}
		}
		out := e.Rounding[0]
		if out.Seen != seen || math.Abs(out.Mean-mean/float64(steps)) > 1e-12 {
			t.Errorf("seed %d: mean %g, seen %g; one after the other give %g and %g", seed,
				out.Mean, out.Seen, mean/float64(steps), seen)
		}
	}
}

// differences are the magnitudes of fixed minus float, steps × outputs.
func differences(n *Network, p dataset.Predictor, s *dataset.Sequence) []float64 {
	fixed, float := make([]float64, s.Steps*len(n.Outputs)), make([]float64, s.Steps*len(n.Outputs))
	n.Predict(s, fixed)
	p.Predict(s, float)
	for i, v := range float {
		fixed[i] = math.Abs(fixed[i] - v)
	}
	return fixed
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
		e := must(net.Extremes(t.Context(), p, p, rec))
		for at, m := range net.Matrices() {
			if a := e.Accumulators[at]; a.Seen < 1 || a.Found < a.Seen || a.Share > 1 {
				t.Errorf("%v, %s: %+v", n, m.Name, a)
			}
		}
		if out := e.Rounding[0]; !(out.Seen > 0 && out.Any >= out.Found && out.Found >= out.Seen) {
			t.Errorf("%v: %+v", n, out)
		}
	}
}

// A search takes as long whatever the networks: fewer batches for larger ones, within bounds. 20
// features and 30 units have 3·30·(20+30) + 2·30 = 4560 products; two such networks, 8 attacks of
// 256 steps take 18.7 million of them, so 16e8 give 85 batches. A network as given with 2·30 units
// has 3·60·(20+60) + 2·60 = 14520: 39.1 million, 40 batches.
func TestBatchesFollowTheSize(t *testing.T) {
	for want, size := range map[int][3]int{
		attackMost: {4, 5, 5}, 85: {20, 30, 30}, 40: {20, 30, 60}, attackLeast: {90, 100, 100},
	} {
		a := &attacker{
			net:   randomNetwork(t, 1, size[0], size[1], 2, Widths(8, 8, 8, 16)),
			rival: newRival(RandomFloat(1, size[0], size[2], 2)),
		}
		if got := a.batches(); got != want {
			t.Errorf("%v features and units: %d batches, want %d", size, got, want)
		}
	}
}

// A move holds some of the given features, each at one value within its range. All features are
// held over the same steps: these begin less than 128 steps before the given step, and are 1 to 16
// steps, or all up to the given step. Nothing else changes. The attack knows where the change
// begins, and the networks are compared for 16 steps from the given step on.
func TestMoveChangesStepsBeforeTheGivenOne(t *testing.T) {
	const features, untouched = 3, 1
	columns := []int{0, 2}
	b := bounds{make([]float64, features), []float64{1, 1, 1}}
	random := rand.New(rand.NewPCG(10, 0))
	// no value that a move sets
	attack := &dataset.Sequence{Steps: attackSteps,
		X: slices.Repeat([]float64{-1}, attackSteps*features)}
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
		if moved.from != first || moved.to != min(attackSteps, before+16) {
			t.Fatalf("move %d: compared from %d to before %d, it changes steps from %d on, "+
				"the given one is %d", i, moved.from, moved.to, first, before)
		}
		length := last - first + 1
		if length > 16 && last != before {
			t.Fatalf("move %d: it changes steps %d to %d, the given one is %d", i, first, last,
				before)
		}
		lengths[length] = true
	}
	for length := 1; length <= 16; length++ {
		if !lengths[length] {
			t.Errorf("no move changes %d steps", length)
		}
	}
}
