package prune

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"

	"kerf/dataset"
)

const (
	cutFeatures, cutUnits, cutOutputs = 5, 6, 2
	cutSeeds                          = 5
	equal                             = 1e-12 // sums of a dozen numbers of size 1 in another order
)

// eachSeed checks a property of Cut on several random networks.
func eachSeed(t *testing.T, check func(t *testing.T, p *dataset.Float, rec *dataset.Recordings,
	means Means)) {
	for seed := range uint64(cutSeeds) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			p := randomPredictor(seed, cutFeatures, cutUnits, cutOutputs)
			rec := randomRecordings(seed, p)
			check(t, p, rec, MeasureMeans(p, rec))
		})
	}
}

// compare checks the outputs of a predictor against raw outputs of want.
func compare(t *testing.T, what string, got *dataset.Float, s *dataset.Sequence, want []float64) {
	t.Helper()
	for i, v := range predict(got, s, cutOutputs) {
		o := got.Outputs[i%cutOutputs]
		if w := want[i]*o.Std + o.Mean; !(math.Abs(v-w) <= equal) {
			t.Fatalf("%s, step %d, output %d: %v, want %v", what, i/cutOutputs, i%cutOutputs, v, w)
		}
	}
}

func normalised(p *dataset.Float, s *dataset.Sequence) []float64 {
	x := make([]float64, len(s.X))
	for step := range s.Steps {
		at := step * cutFeatures
		p.Normalise(s.X[at:at+cutFeatures], x[at:at+cutFeatures])
	}
	return x
}

func TestKeepingAllIsEqualBitForBit(t *testing.T) {
	eachSeed(t, func(t *testing.T, p *dataset.Float, rec *dataset.Recordings, means Means) {
		got := CutPredictor(p, Without(cutFeatures), AllUnits(p.Net), means)
		if !reflect.DeepEqual(got, p) {
			t.Error("the predictor is not equal")
		}
		for _, s := range rec.Sequences {
			if !slices.Equal(predict(got, s, cutOutputs), predict(p, s, cutOutputs)) {
				t.Errorf("sequence %s: outputs differ", s.Name)
			}
		}
	})
}

func TestCutLeavesTheNetworkAlone(t *testing.T) {
	eachSeed(t, func(t *testing.T, p *dataset.Float, _ *dataset.Recordings, means Means) {
		before := p.Net.Clone()
		small := Cut(p.Net, []int{1, 3}, [][]int{{0, 5}}, means)
		for _, v := range [][]float64{small.Recurrent[0].W, small.Recurrent[0].U,
			small.Recurrent[0].B, small.Recurrent[0].D, small.Dense[0].W, small.Dense[0].B} {
			clear(v)
		}
		if !reflect.DeepEqual(p.Net, before) {
			t.Error("the network that was cut has changed")
		}
	})
}

func TestRemovedFeaturesAreHeldAtTheirMean(t *testing.T) {
	eachSeed(t, func(t *testing.T, p *dataset.Float, rec *dataset.Recordings, means Means) {
		for _, gone := range [][]int{{0}, {2}, {4}, {0, 1, 3}} {
			got := CutPredictor(p, Without(cutFeatures, gone...), AllUnits(p.Net), means)
			for _, s := range rec.Sequences {
				// The full network, fed with the means.
				x, raw, run := normalised(p, s), []float64{}, p.Net.NewRun()
				for step := range s.Steps {
					row, y := x[step*cutFeatures:(step+1)*cutFeatures], make([]float64, cutOutputs)
					for _, i := range gone {
						row[i] = means.Features[i]
					}
					run.Step(row, y)
					raw = append(raw, y...)
				}
				compare(t, fmt.Sprint("without features ", gone), got, s, raw)
			}
		}
	})
}

func TestRemovedUnitsAreHeldAtTheirMean(t *testing.T) {
	eachSeed(t, func(t *testing.T, p *dataset.Float, rec *dataset.Recordings, means Means) {
		for _, gone := range [][]int{{}, {0}, {3}, {5}, {1, 2, 4}} {
			got := CutPredictor(p, Without(cutFeatures), [][]int{Without(cutUnits, gone...)}, means)
			want := hold(p.Net)
			for _, j := range gone {
				want.units[j] = means.Units[0][j]
			}
			for _, s := range rec.Sequences {
				compare(t, fmt.Sprint("without units ", gone), got, s, want.run(normalised(p, s)))
			}
		}
	})
}

func TestFeaturesAndUnitsGoTogether(t *testing.T) {
	eachSeed(t, func(t *testing.T, p *dataset.Float, rec *dataset.Recordings, means Means) {
		got := CutPredictor(p, []int{0, 2, 3}, [][]int{{1, 2, 5}}, means)
		want := hold(p.Net)
		for _, i := range []int{1, 4} {
			want.features[i] = means.Features[i]
		}
		for _, j := range []int{0, 3, 4} {
			want.units[j] = means.Units[0][j]
		}
		for _, s := range rec.Sequences {
			compare(t, "without both", got, s, want.run(normalised(p, s)))
		}
	})
}

// Whatever its mean is, a unit that nothing reads changes nothing when it goes.
func TestRemovingAnUnreadUnitChangesNothing(t *testing.T) {
	eachSeed(t, func(t *testing.T, p *dataset.Float, rec *dataset.Recordings, means Means) {
		const gone = 2
		layer, head := p.Net.Recurrent[0], p.Net.Dense[0]
		for r := range layer.D {
			layer.U[r*cutUnits+gone] = 0
		}
		for o := range cutOutputs {
			head.W[o*cutUnits+gone] = 0
		}
		got := CutPredictor(p, Without(cutFeatures), [][]int{Without(cutUnits, gone)}, means)
		for _, s := range rec.Sequences {
			if !slices.Equal(predict(got, s, cutOutputs), predict(p, s, cutOutputs)) {
				t.Errorf("sequence %s: outputs differ", s.Name)
			}
		}
	})
}

func TestCutShrinksEveryMatrix(t *testing.T) {
	p := randomPredictor(1, cutFeatures, cutUnits, cutOutputs)
	means := MeasureMeans(p, randomRecordings(1, p))
	for _, c := range []struct{ features, units []int }{
		{[]int{0, 1, 2, 3, 4}, []int{0, 1, 2, 3, 4, 5}}, {[]int{2}, []int{0, 1, 2, 3, 4, 5}},
		{[]int{0, 1, 2, 3, 4}, []int{5}}, {[]int{1, 4}, []int{0, 2, 3}},
	} {
		small := Cut(p.Net, c.features, [][]int{c.units}, means)
		if err := small.Validate(); err != nil {
			t.Errorf("%+v: %v", c, err)
		}
		f, u := len(c.features), len(c.units)
		if small.Inputs() != f || small.Recurrent[0].Units != u || small.Outputs() != cutOutputs {
			t.Errorf("%+v: %d features, %d units, %d outputs", c, small.Inputs(),
				small.Recurrent[0].Units, small.Outputs())
		}
		if got, want := small.Parameters(), 3*u*(f+u+2)+cutOutputs*(u+1); got != want {
			t.Errorf("%+v: %d parameters, want %d", c, got, want)
		}
		// What stays keeps its weights: unit a of the small network is unit c.units[a].
		l := p.Net.Recurrent[0]
		for gate := range 3 {
			for a, j := range c.units {
				for b, i := range c.features {
					if got, want := small.Recurrent[0].W[(gate*u+a)*f+b],
						l.W[(gate*cutUnits+j)*cutFeatures+i]; got != want {
						t.Errorf("%+v: gate %d, unit %d, feature %d: weight %g, want %g", c, gate,
							j, i, got, want)
					}
				}
			}
		}
	}
}

func TestMeasureMeansIsTheAverageOverAllSteps(t *testing.T) {
	eachSeed(t, func(t *testing.T, p *dataset.Float, rec *dataset.Recordings, means Means) {
		features, units := make([]float64, cutFeatures), make([]float64, cutUnits)
		for _, s := range rec.Sequences {
			run := p.Net.NewRun()
			x, raw := make([]float64, cutFeatures), make([]float64, cutOutputs)
			for step := range s.Steps {
				for i, f := range p.Features {
					x[i] = (s.X[step*cutFeatures+i] - f.Mean) / f.Std
					features[i] += x[i] / (30 + 7 + 19)
				}
				run.Step(x, raw)
				for j, h := range run.State(0) {
					units[j] += h / (30 + 7 + 19)
				}
			}
		}
		if !near(means.Features, features) || !near(means.Units[0], units) {
			t.Errorf("means %v, want %v and %v", means, features, units)
		}
		// The recordings stay half a std above the declared means, which shows.
		if slices.Max(means.Features) < 0.3 {
			t.Errorf("features %v do not show where the recordings lie", means.Features)
		}
	})
}

func near(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(v, w float64) bool { return math.Abs(v-w) <= equal })
}

func TestWithout(t *testing.T) {
	for _, c := range []struct {
		gone []int
		want []int
	}{
		{nil, []int{0, 1, 2, 3}}, {[]int{2}, []int{0, 1, 3}}, {[]int{3, 0}, []int{1, 2}},
		{[]int{0, 1, 2, 3}, []int{}}, {[]int{7, 1, 1}, []int{0, 2, 3}},
	} {
		if got := Without(4, c.gone...); !slices.Equal(got, c.want) || got == nil {
			t.Errorf("Without(4, %v) = %v, want %v", c.gone, got, c.want)
		}
	}
}
