package prune

import (
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"kerf/dataset"
	"kerf/model"
)

func TestEveryMethodKeepsAWholeNetworkAsItIs(t *testing.T) {
	for i, kinds := range stacks {
		p, rec := stacked(uint64(i), kinds...)
		s := MeasureStatistics(p, rec)
		for _, m := range Methods {
			if got := s.Cut(Without(4), AllUnits(p.Net), m); !reflect.DeepEqual(got, p) {
				t.Errorf("%v, %v: the predictor is not equal", kinds, m)
			}
		}
	}
}

// twin gives unit b of a layer the weights of unit a, so that both have the same state.
func twin(l *model.Recurrent, a, b int) {
	for g := range l.Kind.Gates() {
		from, to := g*l.Units+a, g*l.Units+b
		copy(l.W[to*l.Inputs:(to+1)*l.Inputs], l.W[from*l.Inputs:(from+1)*l.Inputs])
		copy(l.U[to*l.Units:(to+1)*l.Units], l.U[from*l.Units:(from+1)*l.Units])
		l.B[to], l.D[to] = l.B[from], l.D[from]
	}
}

// ridgeError bounds the error that the weakest strength adds to a perfect prediction, on outputs of
// size 1, with the effect of the feedback.
const ridgeError = 1e-4

// A unit that repeats another can be predicted without error: it goes without a trace, from any
// kind of layer, first or last.
func TestATwinGoesWithoutATrace(t *testing.T) {
	for i, kinds := range stacks {
		for layer := range kinds {
			p, rec := stacked(uint64(i), kinds...)
			if l := p.Net.Recurrent[layer]; l.Kind == model.ElmanReLU {
				for k := range l.U {
					l.U[k] /= 2 // as drawn, its state grows without bound
				}
			}
			twin(p.Net.Recurrent[layer], 1, 3)
			want := predictAll(p, rec)
			units := AllUnits(p.Net)
			units[layer] = Without(5, 3)
			s := MeasureStatistics(p, rec)
			for _, m := range []Method{Reconstruction, Refit} {
				small := s.Cut(Without(4), units, m)
				if err := small.Net.Validate(); err != nil {
					t.Fatal(err)
				}
				if d := largestDifference(predictAll(small, rec), want); d > ridgeError {
					t.Errorf("%v without unit %d.3, %v: outputs differ by up to %g", kinds, layer,
						m, d)
				}
			}
			if d := largestDifference(predictAll(s.Cut(Without(4), units, MeanFolding), rec),
				want); d < 100*ridgeError {
				t.Errorf("%v without unit %d.3: mean folding differs by only %g, the case shows "+
					"nothing", kinds, layer, d)
			}
		}
	}
}

// A feature that is a linear combination of others, as a range is of its ends, goes without a
// trace.
func TestACombinationOfFeaturesGoesWithoutATrace(t *testing.T) {
	for i, kinds := range stacks {
		p, rec := stacked(uint64(i), kinds...)
		for _, s := range rec.Sequences {
			for step := range s.Steps {
				x := s.X[4*step : 4*step+4]
				x[1] = x[0] - 0.5*x[3] + 2
			}
		}
		want := predictAll(p, rec)
		small := MeasureStatistics(p, rec).Cut(Without(4, 1), AllUnits(p.Net), Refit)
		if d := largestDifference(predictAll(small, rec), want); d > ridgeError {
			t.Errorf("%v: outputs differ by up to %g", kinds, d)
		}
	}
}

func largestDifference(a, b []float64) float64 {
	d := 0.0
	for i := range a {
		d = math.Max(d, math.Abs(a[i]-b[i]))
	}
	return d
}

// On the recordings that are fitted to, each method comes nearer to the network as given than the
// method before it.
func TestRefitComesNearestToTheWholeNetwork(t *testing.T) {
	for i, kinds := range stacks {
		p, rec := stacked(uint64(i), kinds...)
		p.Net.Dense = p.Net.Dense[:1] // what is refitted is what is compared
		p.Net.Dense[0].Outputs, p.Net.Dense[0].Activation = 2, model.Identity
		p.Net.Dense[0].W, p.Net.Dense[0].B = p.Net.Dense[0].W[:2*p.Net.Dense[0].Inputs],
			p.Net.Dense[0].B[:2]
		want := predictAll(p, rec)
		units := AllUnits(p.Net)
		units[len(units)-1] = []int{0, 2}
		s := MeasureStatistics(p, rec)
		var errors []float64
		for _, m := range []Method{Reconstruction, Refit} {
			sum := 0.0
			for j, v := range predictAll(s.Cut([]int{0, 1, 3}, units, m), rec) {
				sum += (v - want[j]) * (v - want[j])
			}
			errors = append(errors, sum)
		}
		if errors[1] > errors[0]*(1+1e-9) {
			t.Errorf("%v: squared error %g after refit, %g before", kinds, errors[1], errors[0])
		}
	}
}

func TestStatisticsDoNotDependOnTheNumberOfCores(t *testing.T) {
	p, rec := stacked(3, model.GRUResetAfter, model.LSTM)
	units := [][]int{{0, 1, 4}, {1, 2}}
	cut := func(cores int) *dataset.Float {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		return MeasureStatistics(p, rec).Cut([]int{0, 2}, units, Refit)
	}
	if !reflect.DeepEqual(cut(1), cut(4)) {
		t.Error("one core and four give different networks")
	}
}

func randomGram(seed uint64, steps, size int) (*gram, [][]float64) {
	random := rand.New(rand.NewPCG(seed, 4))
	g := newGram(size)
	var rows [][]float64
	for range steps {
		v := make([]float64, size)
		common := random.NormFloat64()
		for i := range v {
			v[i] = float64(i) + common + random.NormFloat64()
		}
		g.add(v[:1], v[1:])
		rows = append(rows, v)
	}
	g.addWaiting()
	return g, rows
}

// Without a ridge, predict is least squares of one value on one other value: gonum's
// stat.LinearRegression.
func TestPredictIsLinearRegression(t *testing.T) {
	g, rows := randomGram(1, 50, 2)
	var x, y []float64
	for _, r := range rows {
		x, y = append(x, r[0]), append(y, r[1])
	}
	offset, slope := stat.LinearRegression(x, y, nil, false)
	r := g.predict([]int{0}, []int{1}, 0)
	if math.Abs(r.slope[0]-slope) > 1e-6 || math.Abs(r.offset[0]-offset) > 1e-6 {
		t.Errorf("%g + %g x, want %g + %g x", r.offset[0], r.slope[0], offset, slope)
	}
}

// Ridge regression is least squares on centred data with one more row per
// predictor, root of the penalty times the unit vector, and value 0 (Hastie,
// Tibshirani and Friedman 2009, exercise 3.12); solved by gonum's QR.
func TestPredictIsRidgeRegression(t *testing.T) {
	const steps, strength = 40, 0.3
	g, rows := randomGram(2, steps, 4)
	kept, gone := []int{0, 1, 3}, []int{2}
	a, b := mat.NewDense(steps+len(kept), len(kept), nil), mat.NewVecDense(steps+len(kept), nil)
	for i, r := range rows {
		for c, k := range kept {
			a.Set(i, c, r[k]-g.mean(k))
		}
		b.SetVec(i, r[2]-g.mean(2))
	}
	for c, k := range kept {
		a.Set(steps+c, c, math.Sqrt(strength*steps*g.covariance(k, k)))
	}
	var want mat.VecDense
	if err := want.SolveVec(a, b); err != nil {
		t.Fatal(err)
	}
	r := g.predict(kept, gone, strength)
	offset := g.mean(2)
	for c, k := range kept {
		if math.Abs(r.slope[c]-want.AtVec(c)) > 1e-7 {
			t.Errorf("slope %d is %g, want %g", c, r.slope[c], want.AtVec(c))
		}
		offset -= want.AtVec(c) * g.mean(k)
	}
	if math.Abs(r.offset[0]-offset) > 1e-6 {
		t.Errorf("offset %g, want %g", r.offset[0], offset)
	}
}

func TestSquaredErrorIsTheSumOverSteps(t *testing.T) {
	g, rows := randomGram(3, 30, 5)
	r := g.predict([]int{0, 4}, []int{1, 3}, 0.1)
	readers := []float64{1, -2, 0.5, 3} // two rows
	want := 0.0
	for _, v := range rows {
		var e [2]float64
		for b, k := range r.gone {
			e[b] = v[k] - r.offset[b] - r.slope[2*b]*v[0] - r.slope[2*b+1]*v[4]
		}
		for row := range 2 {
			d := readers[2*row]*e[0] + readers[2*row+1]*e[1]
			want += d * d
		}
	}
	if got := r.squaredError(g, readers); math.Abs(got-want) > 1e-9*want {
		t.Errorf("%g, want %g", got, want)
	}
}

// With independent values the held-back parts show that the mean alone predicts best.
func TestWhatCannotBePredictedKeepsItsMean(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	rec := &dataset.Recordings{}
	var sequences []*gram
	for range 10 {
		g := newGram(9)
		for range 12 {
			v := make([]float64, 9)
			for i := range v {
				v[i] = random.NormFloat64()
			}
			g.add(v)
		}
		rec.Sequences = append(rec.Sequences, &dataset.Sequence{Scenario: "any"})
		sequences = append(sequences, g)
	}
	f := newFolds(9, rec, sequences)
	if r := f.bestPrediction([]int{0, 1, 2, 3, 4, 5, 6, 7}, []int{8}, []float64{1}); r.slope !=
		nil {
		t.Errorf("slopes %v, want none", r.slope)
	}
}

// Every part holds sequences of every scenario that has enough of them.
func TestFoldsSpreadTheScenarios(t *testing.T) {
	rec := &dataset.Recordings{}
	for i := range 20 {
		rec.Sequences = append(rec.Sequences,
			&dataset.Sequence{Scenario: []string{"cold", "warm"}[i/10]})
	}
	part, parts := foldOf(rec)
	for first := 0; first < 20; first += 10 {
		counts := make([]int, parts)
		for _, k := range part[first : first+10] {
			counts[k]++
		}
		if !slices.Equal(counts, []int{2, 2, 2, 2, 2}) {
			t.Errorf("sequences %d to %d: %v per part", first, first+9, counts)
		}
	}
}
