package prune

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"testing"

	"kerf/dataset"
	"kerf/model"
)

// signed gives the values of one sequence, with their sign, from all subsets or
// from one pair of permutations [steps × players × outputs].
func signed(g *game, c *dataset.Sequence, backgrounds []*dataset.Sequence, exact bool) []float64 {
	var courses []*course
	for _, s := range backgrounds {
		courses = append(courses, g.course(s))
	}
	if exact {
		return g.newTable().enumerate(g.course(c), courses, func() {})
	}
	return g.newTable().sample(g.course(c), courses, 1, rand.New(rand.NewPCG(1, 1)), func() {})[0]
}

// games are features one by one, in two groups, and units.
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

// playError is how far an output that is played may be off: float32 costs at most 1e-5 standard deviations (model/lanes,
// TestStepAgainstModel), of which an output here has up to 1.5 units.
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
			}{{rec.Sequences, true}, {rec.Sequences[:1], true}, {rec.Sequences[:1], false}, {rec.Sequences[2:], false}} {
				n := len(g.names)
				got := signed(g, rec.Sequences[1], c.backgrounds, c.exact)
				want := make([]float64, len(rec.Sequences[1].Y))
				p.Predict(rec.Sequences[1], want)
				for _, b := range c.backgrounds {
					y := g.newTable().play(g.course(rec.Sequences[1]), coalition{g.course(b), make([]bool, n)})[0]
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
						t.Fatalf("%v, %s, exact %v, value %d: sum %v, want %v", kinds, name, c.exact, i, sum, want[i])
					}
				}
			}
		}
	}
}

// With nobody present, the outputs are those of the background.
func TestWithoutFeaturesTheBackgroundPlays(t *testing.T) {
	p, rec := stacked(6, model.GRUResetBefore, model.LSTM)
	want := make([]float64, len(rec.Sequences[2].Y))
	p.Predict(rec.Sequences[2], want)
	for name, g := range games(p) {
		got := g.newTable().play(g.course(rec.Sequences[0]), coalition{g.course(rec.Sequences[2]), make([]bool, len(g.names))})[0]
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
		Recurrent: []*model.Recurrent{{Kind: model.ElmanReLU, Inputs: len(weights), Units: 1, W: weights, U: []float64{feedback}, B: []float64{far}, D: []float64{0}}},
		Dense:     []*model.Dense{{Inputs: 1, Outputs: 1, W: []float64{1}, B: []float64{0}}},
	}
	var features []dataset.Feature
	for i := range weights {
		features = append(features, dataset.Feature{Name: fmt.Sprint("f", i), Std: 1})
	}
	return dataset.NewFloat(net, features, []dataset.Output{{Name: "y", Std: 3}})
}

// For a linear model with independent features the value is weight × (x - mean)
// (Lundberg and Lee 2017, corollary 1); with feedback u, the value of a step is
// the sum of those of its past times powers of u. Both are true of a single
// permutation as well, against its own background. The state is up to 64/(1 - 0.8) = 320 in size, of which float32 loses
// 2^-23 per step, and an output has 3 units.
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
						t.Fatalf("feedback %g, exact %v, step %d, feature %d: %v, want %v", feedback, c.exact, step, i, got[3*step+i], want)
					}
				}
			}
		}
	}
}

// Exact and sampled scores of many networks: of normal errors 0.3 % lie outside three
// standard errors, and 32 % outside one. The bounds leave room for the number of
// cases, some 300.
func TestSampledScoresLieAroundTheExactOnes(t *testing.T) {
	cases, outsideThree, outsideOne := 0, 0, 0
	for seed := range uint64(6) {
		p := randomPredictor(seed, cutFeatures, cutUnits, cutOutputs)
		rec := randomRecordings(seed, p)
		for _, g := range []*game{featureGame(p, dataset.FeatureNames(p.Features)), featureGame(p, []string{"a", "b", "a", "c", "b"}), unitGame(p)} {
			exact := g.playAll(rec, rec.Sequences, Settings{}, true, 0)
			sampled := g.playAll(rec, rec.Sequences, Settings{Seed: seed}, false, 40)
			for c, column := range exact.Columns {
				for i, want := range column.Values {
					distance := math.Abs(sampled.Columns[c].Values[i]-want) / sampled.Errors[c][i]
					cases++
					if distance > 3 {
						outsideThree++
						t.Logf("seed %d, %s: %v ± %v, exactly %v", seed, g.names[i], sampled.Columns[c].Values[i], sampled.Errors[c][i], want)
					}
					if distance > 1 {
						outsideOne++
					}
				}
			}
		}
	}
	if outsideThree > cases/100 || outsideOne > cases*45/100 || outsideOne < cases*20/100 {
		t.Errorf("of %d scores %d lie outside three standard errors and %d outside one", cases, outsideThree, outsideOne)
	}
	t.Logf("of %d scores %d lie outside three standard errors and %d outside one", cases, outsideThree, outsideOne)
}

func TestShapleyDoesNotDependOnTheNumberOfCores(t *testing.T) {
	p := randomPredictor(2, cutFeatures, cutUnits, cutOutputs)
	rec := randomRecordings(2, p)
	g := unitGame(p)
	values := func(cores int) *Values {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		return g.playAll(rec, rec.Sequences, Settings{Seed: 5}, false, 8)
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
		v := FeatureValues(p, rec, Settings{Background: 2, Progress: func(done, all int) {
			calls++
			last = all - done
		}})
		if v.Exact != (features <= 12) || len(v.Background) != 2 || len(v.Items) != features {
			t.Errorf("%d features: exact %v, %d backgrounds, %d items", features, v.Exact, len(v.Background), len(v.Items))
		}
		if calls == 0 || last != 0 {
			t.Errorf("%d features: %d calls of progress, %d rounds left at the last", features, calls, last)
		}
	}
}

// The background comes from every scenario, as long as there is one.
func TestBackgroundIsDrawnFromTheScenariosInTurn(t *testing.T) {
	rec := &dataset.Recordings{}
	for i := range 20 {
		scenario := "cold"
		if i == 13 {
			scenario = "warm"
		}
		rec.Sequences = append(rec.Sequences, &dataset.Sequence{Name: fmt.Sprint(i), Scenario: scenario})
	}
	for seed := range uint64(5) {
		drawn := drawBackground(rec, Settings{Background: 4, Seed: seed})
		names := map[string]bool{}
		for _, s := range drawn {
			names[s.Name] = true
		}
		if len(drawn) != 4 || len(names) != 4 || !names["13"] {
			t.Errorf("seed %d: drawn %v", seed, names)
		}
	}
	if drawn := drawBackground(rec, Settings{Background: 50}); len(drawn) != 20 {
		t.Errorf("%d drawn of 20", len(drawn))
	}
}
