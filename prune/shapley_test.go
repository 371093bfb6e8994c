package prune

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// courseOf returns the course of a whole sequence.
func courseOf(g *game, s *dataset.Sequence) *course {
	return g.newSimulator().courses([]*dataset.Sequence{s}, s.Steps)[0]
}

// signed returns the values of one sequence, with their sign, from all subsets or from one pair of
// permutations per background [steps × players × outputs].
func signed(g *game, c *dataset.Sequence, backgrounds []*dataset.Sequence, exact bool) []float64 {
	own, t := courseOf(g, c), g.newSimulator()
	whole := t.play(own, coalition{own, slices.Repeat([]bool{true}, len(g.names))})[0]
	random := rand.New(rand.NewPCG(1, 1))
	mean := make([]float64, c.Steps*len(g.names)*len(g.p.Outputs))
	for _, b := range backgrounds {
		background := courseOf(g, b)
		values := t.pair(own, background, background, whole, random.Perm(len(g.names)))
		if exact {
			values = t.enumerate(context.Background(), own, background)
		}
		for i, v := range values {
			mean[i] += v / float64(len(backgrounds))
		}
	}
	return mean
}

// games returns games with the features one by one, in two groups, and with the units as players.
func games(p *dataset.Float) map[string]*game {
	owner := make([]string, len(p.Features))
	for i := range owner {
		owner[i] = []string{"even", "odd"}[i%2]
	}
	return map[string]*game{
		"features": featureGame(p, dataset.FeatureNames(p.Features)),
		"groups":   featureGame(p, owner),
		"units":    unitGame(p),
	}
}

// playError is how far an output that is played may be off: float32 costs at most 1e-5 standard
// deviations (model/lanes, TestStepAgainstModel), of which an output here has up to 1.5 units.
const playError = 1.5e-5

// Efficiency (Shapley 1953): values sum to the output with all players less the
// output with none, which for features is that of the background.
func TestShapleyValuesSumToTheDifference(t *testing.T) {
	for _, kinds := range [][]model.Kind{{model.GRUResetAfter}, {model.LSTM, model.ElmanTanh}} {
		p, rec := stacked(5, kinds...)
		rec.Sequences[0].X = rec.Sequences[0].X[:4*23] // backgrounds of other lengths
		rec.Sequences[0].Steps, rec.Sequences[0].Y = 23, rec.Sequences[0].Y[:2*23]
		for name, g := range games(p) {
			for _, c := range []struct {
				backgrounds []*dataset.Sequence
				exact       bool
			}{{rec.Sequences, true}, {rec.Sequences[:1], true}, {rec.Sequences[:1], false},
				{rec.Sequences[2:], false}} {
				n := len(g.names)
				got := signed(g, rec.Sequences[1], c.backgrounds, c.exact)
				want := make([]float64, len(rec.Sequences[1].Y))
				p.Predict(rec.Sequences[1], want)
				for _, b := range c.backgrounds {
					y := g.newSimulator().play(courseOf(g, rec.Sequences[1]),
						coalition{courseOf(g, b), make([]bool, n)})[0]
					for i, v := range y {
						want[i] -= v / float64(len(c.backgrounds))
					}
				}
				for i := range want {
					sum := 0.0
					for k := range n {
						sum += got[(i/2*n+k)*2+i%2]
					}
					if math.Abs(sum-want[i]) > playError {
						t.Fatalf("%v, %s, exact %v, value %d: sum %v, want %v", kinds, name,
							c.exact, i, sum, want[i])
					}
				}
			}
		}
	}
}

// With no player present, the outputs are those of the background.
func TestWithoutFeaturesTheBackgroundPlays(t *testing.T) {
	p, rec := stacked(6, model.GRUResetBefore, model.LSTM)
	want := make([]float64, len(rec.Sequences[2].Y))
	p.Predict(rec.Sequences[2], want)
	for name, g := range games(p) {
		got := g.newSimulator().play(courseOf(g, rec.Sequences[0]),
			coalition{courseOf(g, rec.Sequences[2]), make([]bool, len(g.names))})[0]
		for i := range want {
			if math.Abs(got[i]-want[i]) > playError {
				t.Fatalf("%s, value %d: %v, want %v", name, i, got[i], want[i])
			}
		}
	}
}

// Symmetry and dummy (Shapley 1953): players that do the same share alike, and
// one that does nothing gets nothing.
func TestShapleySymmetryAndDummy(t *testing.T) {
	p, rec := stacked(7, model.GRUResetAfter)
	l := p.Net.Recurrent[0]
	for row := range l.B {
		l.W[row*4+2] = l.W[row*4]
		l.W[row*4+3] = 0
	}
	for _, s := range rec.Sequences {
		for step := range s.Steps {
			s.X[4*step+2] = s.X[4*step]
		}
	}
	twin(l, 1, 3)
	for row := range l.B {
		l.U[row*5+3] = l.U[row*5+1]
	}
	d := p.Net.Dense[0]
	for o := range d.Outputs {
		d.W[o*5+3] = d.W[o*5+1]
	}
	silenceUnit(p.Net, 0, 4)
	for _, c := range []struct {
		g             *game
		a, b, nothing int
	}{{games(p)["features"], 0, 2, 3}, {games(p)["units"], 1, 3, 4}} {
		n := len(c.g.names)
		got := signed(c.g, rec.Sequences[0], rec.Sequences, true)
		for i := range 2 * rec.Sequences[0].Steps {
			at := func(k int) float64 { return got[(i/2*n+k)*2+i%2] }
			if math.Abs(at(c.a)-at(c.b)) > playError {
				t.Fatalf("value %d: %v and %v of equal players", i, at(c.a), at(c.b))
			}
			if math.Abs(at(c.nothing)) > 1e-15 {
				t.Fatalf("value %d: %v of a player that does nothing", i, at(c.nothing))
			}
		}
		for i, v := range signed(c.g, rec.Sequences[0], rec.Sequences, false) {
			if i/2%n == c.nothing && v != 0 {
				t.Fatalf("sampled value %d: %v of a player that does nothing", i, v)
			}
		}
	}
}

// linear is an Elman network that stays in the linear part of ReLU: one unit with
// feedback, the sum of weights times features far above 0.
func linear(feedback float64, weights ...float64) *dataset.Float {
	const far = 64
	net := &model.Network{
		Recurrent: []*model.Recurrent{{Kind: model.ElmanReLU, Inputs: len(weights), Units: 1,
			W: weights, U: []float64{feedback}, B: []float64{far}, D: []float64{0}}},
		Dense: []*model.Dense{{Inputs: 1, Outputs: 1, W: []float64{1}, B: []float64{0}}},
	}
	var features []dataset.Feature
	for i := range weights {
		features = append(features, dataset.Feature{Name: fmt.Sprint("f", i), Std: 1})
	}
	return dataset.NewFloat(net, features, []dataset.Output{{Name: "y", Std: 3}})
}

// For a linear model with independent features the value is weight × (x - mean) (Lundberg and Lee
// 2017, corollary 1); with feedback u, the value of a step is the sum of those of its past times
// powers of u. Both are true of a single permutation as well, against its own background. The state
// is up to 64/(1 - 0.8) = 320 in size, of which float32 loses 2^-23 per step, and an output has 3
// units.
func TestShapleyOfALinearNetwork(t *testing.T) {
	weights := []float64{2, -1, 0.5}
	random := rand.New(rand.NewPCG(11, 11))
	rec := &dataset.Recordings{Features: 3, Outputs: 1}
	for i := range 4 {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "any", Steps: 12}
		for range 36 {
			s.X = append(s.X, random.NormFloat64())
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	for _, feedback := range []float64{0, 0.8} {
		p := linear(feedback, weights...)
		g := featureGame(p, dataset.FeatureNames(p.Features))
		for _, c := range []struct {
			backgrounds []*dataset.Sequence
			exact       bool
		}{{rec.Sequences, true}, {rec.Sequences[3:], false}} {
			got := signed(g, rec.Sequences[1], c.backgrounds, c.exact)
			past := make([]float64, 3)
			for step := range 12 {
				for i, w := range weights {
					mean := 0.0
					for _, s := range c.backgrounds {
						mean += s.X[3*step+i] / float64(len(c.backgrounds))
					}
					past[i] = feedback*past[i] + w*(rec.Sequences[1].X[3*step+i]-mean)
					if want := 3 * past[i]; math.Abs(got[3*step+i]-want) > 3*320*12*0x1p-23 {
						t.Fatalf("feedback %g, exact %v, step %d, feature %d: %v, want %v",
							feedback, c.exact, step, i, got[3*step+i], want)
					}
				}
			}
		}
	}
}

// Exact and sampled scores of many networks, features, groups and units: of normal errors 0.3 %
// lie outside three standard errors, 5 % outside two and 32 % outside one. The bounds leave room
// for the number of cases, and for their dependence: all scores of one recording share their draws.
func TestSampledScoresLieAroundTheExactOnes(t *testing.T) {
	cases, outside := 0, [4]int{}
	for seed := range uint64(6) {
		p := randomPredictor(seed, cutFeatures, cutUnits, cutOutputs)
		rec := driftingRecordings(p, 9)
		for _, g := range []*game{featureGame(p, dataset.FeatureNames(p.Features)),
			featureGame(p, []string{"a", "b", "a", "c", "b"}), unitGame(p)} {
			exact := must(g.playAll(t.Context(), rec, Settings{}, plan{0, 8}))
			sampled := must(g.playAll(t.Context(), rec, Settings{Seed: seed}, plan{40, 80}))
			for c, column := range exact.Columns {
				errors := standardErrors(sampled.Scores, c)
				for i, want := range column.Values {
					distance := math.Abs(sampled.Columns[c].Values[i]-want) / errors[i]
					cases++
					for k := range outside {
						if distance > float64(k) {
							outside[k]++
						}
					}
				}
			}
		}
	}
	few := outside[3] <= cases/100 && outside[2] <= cases/10 && outside[1] <= cases*45/100
	if !few || outside[1] < cases*20/100 {
		t.Errorf("of %d scores lie outside 0, 1, 2 and 3 standard errors: %d", cases, outside)
	}
	t.Logf("of %d scores lie outside 0, 1, 2 and 3 standard errors: %d", cases, outside)
}

func TestShapleyDoesNotDependOnTheNumberOfCores(t *testing.T) {
	p := randomPredictor(2, cutFeatures, cutUnits, cutOutputs)
	rec := randomRecordings(2, p)
	g := unitGame(p)
	values := func(cores int) *Values {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		return must(g.playAll(t.Context(), rec, Settings{Seed: 5}, plan{8, 16}))
	}
	if !reflect.DeepEqual(values(1), values(4)) {
		t.Error("one core and four give different values")
	}
}

func TestFewPlayersAreEnumeratedAndManySampled(t *testing.T) {
	for _, features := range []int{3, 12, 13} {
		p := randomPredictor(1, features, 2, 1)
		rec := randomRecordings(1, p)
		last, calls := 0, 0
		v := must(FeatureValues(t.Context(), p, rec, Settings{Progress: func(done, all int) {
			calls++
			last = all - done
		}}))
		want := Values{v.Scores, 0, 2, 2}
		if features > 12 {
			want = Values{v.Scores, 128, 2, 2}
		}
		if *v != want || len(v.Items) != features {
			t.Errorf("%d features: %+v, want %+v", features, v, want)
		}
		if calls == 0 || last != 0 {
			t.Errorf("%d features: %d calls of progress, %d rounds left at the last", features,
				calls, last)
		}
	}
}

// A number of runs per sequence is spent on the plan with the smallest error, found by hand from
// the share of backgrounds in the variance.
func TestPlanHasTheSmallestError(t *testing.T) {
	for _, c := range []struct {
		players int
		runs    float64
		others  int
		want    plan
	}{
		{5, 1e6, 39, plan{0, 39}},       // all of them: no error
		{5, 8 * 32, 39, plan{25, 50}},   // 1/8 - 1/39 is above 1/50
		{4, 500, 39, plan{0, 31}},       // 1/31 - 1/39 is below 1/124
		{5, 38 * 32, 39, plan{117, 39}}, // all have their turn
		{3, 1e6, 80, plan{0, 64}},       // 1/64 - 1/80 is below 1/256
		{3, 1e6, 90, plan{128, 256}},    // and 1/64 - 1/90 above
		{12, 4096, 1, plan{0, 1}},       // the only other one
		{12, 4095, 1, plan{128, 1}},
		{13, 1e9, 60, plan{120, 60}}, // too many subsets
		{13, 1e9, 65, plan{128, 256}},
		{19, 1, 39, plan{2, 4}}, // fewest
		{19, 8 * 38, 4, plan{8, 4}},
	} {
		if got := planFor(c.players, c.runs, c.others); got != c.want {
			t.Errorf("%+v: %+v", c, got)
		}
	}
}
