package prune

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"kerf/dataset"
	"kerf/model/lanes"
)

// Settings says how Shapley values are computed. The zero value is good for most.
type Settings struct {
	Work     float64             // weights that may be applied in all runs; 0: 2e10
	Seed     uint64              // same seed, same values
	Progress func(done, all int) // called after every round, on any core; may be nil
}

// As many backgrounds and pairs of permutations are taken as the work allows, within these bounds
// (our choice): 8 pairs leave the shares of the demo job a standard error of up to 2 %. The error
// falls with the root of the number of pairs, and beyond the bounds no longer matters to a ranking.
const (
	usualWork       = 2e10                // weights applied: 8 pairs for the features of the demo
	mostExact       = 12                  // players of whom all 2^12 subsets may be enumerated
	fewestPairs     = 2                   // of permutations: fewer have no standard error
	mostBackgrounds = 64                  // against which all subsets are enumerated
	mostPairs       = 2 * mostBackgrounds // of permutations, so that each background may have two
	pilotShare      = 4                   // the part of the pairs that is played first
)

// Values holds Shapley values of players: features, groups of them, or hidden units (Shapley 1953;
// for features Lundberg and Lee 2017, with absent features drawn independently of those that are
// present). docs/scores.md has the formula.
//
// The value of a set of players is the output of the network at a step when these players are
// present from the start of the sequence; absent players follow another sequence of the selection
// recordings, the background. The value of a player is the mean over all other sequences as
// background. A score is the mean magnitude of that value over the steps of a scenario, in the unit
// of the output.
//
// # How they are computed
//
// A game (game.go) runs sets of players, up to eight side by side. planFor (shapley.go) chooses
// which sets are run for the work that is allowed, and summary (jackknife.go) turns the results
// into mean magnitudes and their deviations. Of pairs of permutations with drawn backgrounds a
// quarter is played first. Where its standard errors leave no neighbours of the ranking open
// ([Scores.Open]), that is all; else as many pairs follow as these say are needed, as far as the
// work goes (two-stage sampling, Stein 1945, "A two-sample test for a linear hypothesis whose power
// is independent of the variance").
//
// The draw of backgrounds decides the error: in the median over scores a pair of permutations adds
// at most 6 % of the variance of one background. So each order of a pair draws its own background
// (0.7 of the standard error on the demo), and where possible all other sequences take turns as
// background (cityweather: 0.03 percentage points between seeds, and 0.5 where eight backgrounds
// served all sequences).
//
// # What they cost
//
// Backgrounds are made when a sequence is played and dropped afterwards. So memory holds those of
// one sequence per core: with 400 sequences of the demo's length kerf rank --shapley takes 99 MiB,
// where eight backgrounds for all took 93. Work goes to the cores by sequence: one long sequence
// keeps one core busy.
//
// Processor time on two cores shared with other work: the 19 features of the demo job without its
// scores, 8 pairs, 2.3 s; kerf rank --shapley on it, 13 s (19 features from 13 pairs, 4 channels
// from all subsets against 31 backgrounds, 6 kinds from 42 pairs, 24 units from 10); on cityweather
// 1.1 s. The shares of the demo's features differ from those of testdata/demo/scores.csv (whose
// absent features stand at their mean) by up to 7 percentage points; the ten most needed are the
// same.
type Values struct {
	*Scores         // with deviations by the draw of backgrounds and permutations
	Pairs       int // of permutations per sequence; 0: every subset of players was enumerated
	Backgrounds int // per sequence; twice Pairs: drawn with replacement, otherwise all different
	// Others is how many sequences backgrounds come from. It is 0 where there is one sequence,
	// whose halves then are the background of each other; errors are not known there.
	Others int
}

// FeatureValues scores every feature. The network of p takes all features. The error is that of
// ctx.
func FeatureValues(ctx context.Context, p *dataset.Float, selection *dataset.Recordings,
	s Settings) (*Values, error) {
	return featureGame(p, dataset.FeatureNames(p.Features)).values(ctx, selection, s)
}

// GroupValues scores groups of features that come and go together; owner names the group of every
// feature. The error is that of ctx.
func GroupValues(ctx context.Context, p *dataset.Float, selection *dataset.Recordings,
	owner []string, s Settings) (*Values, error) {
	return featureGame(p, owner).values(ctx, selection, s)
}

// UnitValues scores every hidden unit, in the order of [Units]. While a unit is absent, whatever
// reads its state reads that of the background. The error is that of ctx.
func UnitValues(ctx context.Context, p *dataset.Float, selection *dataset.Recordings,
	s Settings) (*Values, error) {
	return unitGame(p).values(ctx, selection, s)
}

// values plays the game until the order is decided or the work that is allowed is done.
func (g *game) values(ctx context.Context, selection *dataset.Recordings,
	s Settings) (*Values, error) {
	if s.Work == 0 {
		s.Work = usualWork
	}
	run := float64(selection.Steps()) * float64(g.p.Net.Parameters()) // weights applied by one run
	others := max(1, len(selection.Sequences)-1)
	most := planFor(len(g.names), s.Work/run, others)
	if most.pairs/pilotShare < fewestPairs || most.inTurn() {
		return g.playAll(ctx, selection, s, most)
	}
	return g.sampled(ctx, selection, s, most)
}

// sampled plays pairs of permutations with drawn backgrounds until the order is decided, at most as
// many as a plan has.
func (g *game) sampled(ctx context.Context, selection *dataset.Recordings, s Settings,
	most plan) (*Values, error) {
	pilot := most.pairs / pilotShare
	v, err := g.playAll(ctx, selection, s, plan{pilot, 2 * pilot})
	if err != nil || v.Deviations == nil || len(v.Open()) == 0 {
		return v, err
	}
	needed := int(math.Min(float64(most.pairs-pilot), math.Ceil(float64(pilot)*v.lacking())))
	return g.playAll(ctx, selection, s, plan{needed, 2 * needed})
}

// plan says what is played for every sequence: all subsets against some backgrounds, pairs of
// permutations against all others in turn, or pairs of which each order draws a background.
type plan struct {
	pairs       int // of permutations; 0: every subset of players is enumerated
	backgrounds int // with pairs: twice pairs, drawn with replacement, or all others in turn
}

// inTurn reports whether all other sequences are backgrounds in turn, each of equally many pairs,
// two or more.
func (p plan) inTurn() bool { return p.pairs >= 2*p.backgrounds }

// planFor returns the plan with the smallest error for a number of runs per sequence and a number
// of other sequences. The share that backgrounds have in the variance of a mean, in units of the
// variance between them, is 1/k - 1/n for k of n drawn without replacement (Cochran 1977, theorem
// 2.2), 1/k with replacement, and 0 where all others have their turn equally often. Permutations
// add little: in the median over the scores of the demo and of cityweather, a pair adds at most 6 %
// of what one background adds.
func planFor(players int, runs float64, others int) plan {
	pairs := int(min(mostPairs, max(fewestPairs, runs/float64(2*players))))
	sampled, added := plan{pairs, 2 * pairs}, 1/float64(2*pairs)
	if each := pairs / others; each > 1 {
		sampled, added = plan{each * others, others}, 0
	}
	backgrounds := int(min(mostBackgrounds, float64(others), math.Ldexp(runs, -players)))
	if players > mostExact || backgrounds == 0 {
		return sampled
	}
	if 1/float64(backgrounds)-1/float64(others) > added {
		return sampled
	}
	return plan{0, backgrounds}
}

// playAll plays every sequence by a plan and returns the scores.
func (g *game) playAll(ctx context.Context, selection *dataset.Recordings, s Settings,
	p plan) (*Values, error) {
	v := &Values{Pairs: p.pairs, Backgrounds: p.backgrounds, Others: len(selection.Sequences) - 1}
	strata, undrawn := 1, 1.0
	if p.pairs == 0 {
		undrawn = 1 - float64(p.backgrounds)/float64(max(1, v.Others))
	} else if p.inTurn() {
		strata = p.backgrounds
	}
	rounds := p.pairs
	if rounds == 0 {
		rounds = p.backgrounds
	}
	tick := ticker(s.Progress, rounds*len(selection.Sequences))
	items := len(g.names) * len(g.p.Outputs)
	parts := make([]sequenceScore, len(selection.Sequences))
	err := dataset.InParallelUntil(ctx, len(selection.Sequences), func(i int) {
		sequence := selection.Sequences[i]
		random := rand.New(rand.NewPCG(s.Seed, uint64(i)))
		backgrounds := p.draw(backgroundsOf(selection, i), random)
		rounds := g.newSimulator().rounds(ctx, sequence, backgrounds, p, random, tick)
		if ctx.Err() == nil {
			parts[i] = summary(rounds, items, strata, undrawn)
		}
	})
	if err != nil {
		return nil, err
	}
	v.Scores = g.scores(selection, parts)
	if v.Others == 0 {
		v.Deviations = nil // nothing says what another sequence would give
	}
	return v, nil
}

// rounds returns the values of one sequence, once per background or pair of permutations
// [rounds][steps × players × outputs]. It calls tick after each. When ctx ends it returns fewer.
func (t *simulator) rounds(ctx context.Context, sequence *dataset.Sequence,
	backgrounds []*dataset.Sequence, p plan, random *rand.Rand, tick func()) [][]float64 {
	var rounds [][]float64
	add := func(values []float64) {
		rounds = append(rounds, values)
		tick()
	}
	c := t.courses([]*dataset.Sequence{sequence}, sequence.Steps)[0]
	courses := t.courses(backgrounds, sequence.Steps)
	if p.pairs == 0 {
		for _, b := range courses {
			values := t.enumerate(ctx, c, b)
			if ctx.Err() != nil {
				return nil
			}
			add(values)
		}
		return rounds
	}
	whole := t.play(c, coalition{c, slices.Repeat([]bool{true}, len(t.names))})[0]
	pair := func(forth, back *course) {
		if ctx.Err() != nil {
			return
		}
		add(t.pair(c, forth, back, whole, random.Perm(len(t.names))))
	}
	if !p.inTurn() {
		for k := range p.pairs {
			pair(courses[2*k], courses[2*k+1])
		}
		return rounds
	}
	for _, b := range courses {
		for range p.pairs / p.backgrounds {
			pair(b, b)
		}
	}
	return rounds
}

// ticker returns a function that counts finished rounds, called on any core, and reports them.
func ticker(progress func(done, all int), all int) func() {
	var lock sync.Mutex
	done := 0
	return func() {
		if progress == nil {
			return
		}
		lock.Lock()
		defer lock.Unlock()
		done++
		progress(done, all)
	}
}

// enumerate returns the values of one sequence against one background, exact but for float32 [steps
// × players × outputs]. When ctx ends they are not complete.
func (t *simulator) enumerate(ctx context.Context, c, background *course) []float64 {
	n, outputs := len(t.names), t.outputs
	// Shapley's weight of a set of size k that a player joins: k! (n-k-1)! / n!.
	weight := make([]float64, n)
	weight[0] = 1 / float64(n)
	for k := 1; k < n; k++ {
		weight[k] = weight[k-1] * float64(k) / float64(n-k)
	}
	values := make([]float64, c.steps*n*outputs)
	for first := 0; first < 1<<n && ctx.Err() == nil; first += lanes.Width {
		var sets []coalition
		for set := first; set < min(first+lanes.Width, 1<<n); set++ {
			sets = append(sets, coalition{background, make([]bool, n)})
			for i := range n {
				sets[len(sets)-1].present[i] = set>>i&1 == 1
			}
		}
		for k, y := range t.play(c, sets...) {
			size := 0
			for _, in := range sets[k].present {
				if in {
					size++
				}
			}
			for i, in := range sets[k].present {
				var w float64
				if in {
					w = weight[size-1]
				} else {
					w = -weight[size]
				}
				for step := range c.steps {
					for o := range outputs {
						values[(step*n+i)*outputs+o] += float64(w * y[step*outputs+o])
					}
				}
			}
		}
	}
	return values
}

// pair estimates the values of one sequence [steps × players × outputs]: players enter in an order
// against the background forth, and in the reverse order against back, which may be another
// background (antithetic pairs: Mitchell et al. 2022, "Sampling permutations for Shapley value
// estimation"). Two draws of a background have half the variance of one; on the demo they leave a
// pair 0.7 of its standard error. whole is the output with every player present.
func (t *simulator) pair(c, forth, back *course, whole []float64, order []int) []float64 {
	n, outputs := len(t.names), t.outputs
	reverse := slices.Clone(order)
	slices.Reverse(reverse)
	values := make([]float64, n*c.steps*outputs)
	played := t.play(c, slices.Concat(entering(forth, order), entering(back, reverse))...)
	for turn, order := range [][]int{order, reverse} {
		for k, player := range order {
			before, after := played[turn*n+k], whole
			if k < n-1 {
				after = played[turn*n+k+1]
			}
			for step := range c.steps {
				for o := range outputs {
					at := step*outputs + o
					values[(step*n+player)*outputs+o] += float64((after[at] - before[at]) / 2)
				}
			}
		}
	}
	return values
}

// entering lists the coalitions before each player enters in the given order.
func entering(b *course, order []int) []coalition {
	var all []coalition
	present := make([]bool, len(order))
	for _, player := range order {
		all = append(all, coalition{b, slices.Clone(present)})
		present[player] = true
	}
	return all
}
