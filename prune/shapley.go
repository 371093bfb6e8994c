package prune

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"kerf/dataset"
	"kerf/model/lanes"
)

// Settings say how Shapley values are computed. The zero value is good for most.
type Settings struct {
	Work       float64 // weights that may be applied, see below; 0: 3e9, some seconds on one core
	Background int     // sequences that stand for what is absent; 0: 8, or all if there are fewer
	Seed       uint64  // same seed, same values
	Progress   func(done, all int)
}

// All subsets of up to mostExact players are enumerated where the work allows it.
// Otherwise sampling takes as many pairs of permutations as it allows, within
// bounds: 8 pairs leave the shares of the demo job a standard error of up to 3 %; it
// falls with the root of their number, and beyond 64 no longer matters to a ranking.
const (
	usualWork       = 3e9
	usualBackground = 8 // two sequences for each of four scenarios
	mostExact       = 12
	fewestPairs     = 8
	mostPairs       = 64
)

// Values are Shapley values of players: features, groups of them, or hidden
// units (Shapley 1953; for features Lundberg and Lee 2017, with those that are
// absent drawn independently of those that are present). The value of a set of players
// is the output of the network at a step when they are present from the start of
// the sequence; those that are absent follow another sequence, drawn from the
// selection recordings. A score is the mean absolute value over the steps of a scenario, in
// the unit of the output.
type Values struct {
	*Scores             // with standard errors; zero where all subsets were enumerated
	Exact      bool     // every subset of players was enumerated
	Pairs      int      // of permutations per sequence, where sampled
	Background []string // names of the background sequences
}

// FeatureValues scores every feature.
func FeatureValues(p *dataset.Float, selection *dataset.Recordings, s Settings) *Values {
	return featureGame(p, dataset.FeatureNames(p.Features)).values(selection, s)
}

// GroupValues scores groups of features that come and go together; owner names
// the group of every feature.
func GroupValues(p *dataset.Float, selection *dataset.Recordings, owner []string, s Settings) *Values {
	return featureGame(p, owner).values(selection, s)
}

// UnitValues scores every hidden unit, in the order of [Units]. While a unit is
// absent, whatever reads its state reads that of the background.
func UnitValues(p *dataset.Float, selection *dataset.Recordings, s Settings) *Values {
	return unitGame(p).values(selection, s)
}

func (g *game) values(selection *dataset.Recordings, s Settings) *Values {
	background := drawBackground(selection, s)
	n := len(g.names)
	if s.Work == 0 {
		s.Work = usualWork
	}
	run := float64(selection.Steps()) * float64(g.p.Net.Parameters()) // weights applied by one run
	exact := n <= mostExact && math.Ldexp(float64(len(background)), n)*run <= s.Work
	pairs := int(min(mostPairs, max(fewestPairs, s.Work/(float64(2*n)*run))))
	return g.playAll(selection, background, s, exact, pairs)
}

func (g *game) playAll(selection *dataset.Recordings, background []*dataset.Sequence, s Settings, exact bool, pairs int) *Values {
	n := len(g.names)
	v := &Values{Exact: exact}
	rounds := len(background)
	if !exact {
		v.Pairs = pairs
		rounds = v.Pairs
	}
	courses := make([]*course, len(background))
	for i, b := range background {
		courses[i] = g.course(b)
		v.Background = append(v.Background, b.Name)
	}
	tick := ticker(s.Progress, rounds*len(selection.Sequences))
	parts := make([]part, len(selection.Sequences))
	dataset.EachSequence(selection, func(i int, sequence *dataset.Sequence) {
		c := g.course(sequence)
		var rows [][]float64
		if v.Exact {
			rows = [][]float64{g.newTable().enumerate(c, courses, tick)}
		} else {
			rows = g.newTable().sample(c, courses, v.Pairs, rand.New(rand.NewPCG(s.Seed, uint64(i))), tick)
		}
		parts[i] = summary(rows, n*len(g.p.Outputs))
	})
	v.Scores = g.scores(selection, parts)
	return v
}

// ticker counts rounds that are done, on any core.
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

// drawBackground draws sequences without putting them back, from the scenarios in
// turn.
func drawBackground(selection *dataset.Recordings, s Settings) []*dataset.Sequence {
	most := s.Background
	if most == 0 {
		most = usualBackground
	}
	most = min(most, len(selection.Sequences))
	random := rand.New(rand.NewPCG(s.Seed, math.MaxUint64))
	left := map[string][]*dataset.Sequence{}
	for _, i := range random.Perm(len(selection.Sequences)) {
		sequence := selection.Sequences[i]
		left[sequence.Scenario] = append(left[sequence.Scenario], sequence)
	}
	var drawn []*dataset.Sequence
	for len(drawn) < most {
		for _, scenario := range selection.Scenarios() {
			if rest := left[scenario]; len(rest) > 0 && len(drawn) < most {
				drawn, left[scenario] = append(drawn, rest[0]), rest[1:]
			}
		}
	}
	return drawn
}

// enumerate gives the values of one sequence, exact for these backgrounds
// [steps × players × outputs].
func (t *table) enumerate(c *course, backgrounds []*course, tick func()) []float64 {
	n, outputs := len(t.names), t.outputs
	// Shapley's weight of a set of size k that a player joins: k! (n-k-1)! / n!.
	weight := make([]float64, n)
	weight[0] = 1 / float64(n)
	for k := 1; k < n; k++ {
		weight[k] = weight[k-1] * float64(k) / float64(n-k)
	}
	values := make([]float64, c.steps*n*outputs)
	for _, b := range backgrounds {
		for first := 0; first < 1<<n; first += lanes.Width {
			var sets []coalition
			for set := first; set < min(first+lanes.Width, 1<<n); set++ {
				sets = append(sets, coalition{b, make([]bool, n)})
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
					w /= float64(len(backgrounds))
					for step := range c.steps {
						for o := range outputs {
							values[(step*n+i)*outputs+o] += float64(w * y[step*outputs+o])
						}
					}
				}
			}
		}
		tick()
	}
	return values
}

// sample estimates the values of one sequence, once per pair of permutations
// [pairs][steps × players × outputs]: players enter in a random order and in its
// reverse, against one random background (antithetic pairs: Mitchell et al. 2022,
// "Sampling permutations for Shapley value estimation").
func (t *table) sample(c *course, backgrounds []*course, pairs int, random *rand.Rand, tick func()) [][]float64 {
	n, outputs := len(t.names), t.outputs
	everyone := make([]bool, n)
	for i := range everyone {
		everyone[i] = true
	}
	whole := t.play(c, coalition{c, everyone})[0]
	rows := make([][]float64, pairs)
	for pair := range rows {
		b := backgrounds[random.IntN(len(backgrounds))]
		order := random.Perm(n)
		reverse := slices.Clone(order)
		slices.Reverse(reverse)
		values := make([]float64, n*c.steps*outputs)
		// Nobody, then for both orders everyone who has entered, up to the last but one.
		played := t.play(c, slices.Concat([]coalition{{b, make([]bool, n)}}, entering(b, order), entering(b, reverse))...)
		none := played[0]
		for turn, order := range [][]int{order, reverse} {
			before := none
			for k, player := range order {
				after := whole
				if k < n-1 {
					after = played[1+turn*(n-1)+k]
				}
				for step := range c.steps {
					for o := range outputs {
						values[(step*n+player)*outputs+o] += float64((after[step*outputs+o] - before[step*outputs+o]) / 2)
					}
				}
				before = after
			}
		}
		rows[pair] = values
		tick()
	}
	return rows
}

// entering lists who is present after each player but the last has entered in the given order.
func entering(b *course, order []int) []coalition {
	var all []coalition
	present := make([]bool, len(order))
	for _, player := range order[:len(order)-1] {
		present[player] = true
		all = append(all, coalition{b, slices.Clone(present)})
	}
	return all
}

// part is what one sequence says about the mean absolute values of its steps,
// per player and output.
type part struct {
	mean, variance []float64 // variance of mean, as the estimate of it; zero when the values are exact
}

// summary takes estimates [rounds][steps × items]. The absolute value of a noisy
// mean is too large; the jackknife (Efron and Tibshirani 1993, chapter 11), with
// one round left out at a time, takes off that bias and gives the variance.
func summary(rounds [][]float64, items int) part {
	r := part{mean: make([]float64, items), variance: make([]float64, items)}
	steps := len(rounds[0]) / items
	n := float64(len(rounds))
	without := make([]float64, len(rounds))
	for item := range items {
		clear(without)
		all := 0.0
		for step := range steps {
			sum := 0.0
			for _, values := range rounds {
				sum += values[step*items+item]
			}
			all += math.Abs(sum / n)
			for i, values := range rounds {
				without[i] += math.Abs((sum - values[step*items+item]) / (n - 1))
			}
		}
		all /= float64(steps)
		if len(rounds) == 1 {
			r.mean[item] = all
			continue
		}
		average := 0.0
		for i := range without {
			without[i] /= float64(steps)
			average += without[i] / n
		}
		r.mean[item] = max(0, float64(n*all)-float64((n-1)*average))
		for _, v := range without {
			r.variance[item] += float64((n - 1) / n * (v - average) * (v - average))
		}
	}
	return r
}

// scores averages over the steps of every scenario.
func (g *game) scores(selection *dataset.Recordings, parts []part) *Scores {
	s := &Scores{Items: g.names}
	for _, scenario := range selection.Scenarios() {
		steps := 0
		for _, sequence := range selection.Sequences {
			if sequence.Scenario == scenario {
				steps += sequence.Steps
			}
		}
		for o, output := range g.p.Outputs {
			column := Column{Scenario: scenario, Output: output.Name, Values: make([]float64, len(g.names))}
			errors := make([]float64, len(g.names))
			for i, sequence := range selection.Sequences {
				if sequence.Scenario != scenario {
					continue
				}
				share := float64(sequence.Steps) / float64(steps)
				for k := range g.names {
					at := k*len(g.p.Outputs) + o
					column.Values[k] += float64(share * parts[i].mean[at])
					errors[k] += float64(share * share * parts[i].variance[at])
				}
			}
			for k, v := range errors {
				errors[k] = math.Sqrt(v)
			}
			s.Columns, s.Errors = append(s.Columns, column), append(s.Errors, errors)
		}
	}
	return s
}
