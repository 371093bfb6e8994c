package dataset

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"testing"

	"kerf/model"
	"kerf/model/lanes"
)

// candidates returns networks of several kinds on five features, of which the second network leaves
// two out, and recordings of unlike lengths.
func candidates(seed uint64, outputs int, classes bool) ([]*Float, *Recordings) {
	random := rand.New(rand.NewPCG(seed, 5))
	normal := func(n int, scale float64) []float64 {
		all := make([]float64, n)
		for i := range all {
			all[i] = scale * random.NormFloat64()
		}
		return all
	}
	const features, units = 5, 6
	var declared []Feature
	for i := range features {
		declared = append(declared,
			Feature{Name: fmt.Sprint("f", i), Mean: 20 * random.NormFloat64(),
				Std: 0.1 + random.Float64()})
	}
	var predicted []Output
	for o := range outputs {
		out := Output{Name: fmt.Sprint("o", o), Mean: 0, Std: 1}
		if !classes {
			out.Mean, out.Std = 50, 0.2+random.Float64()
		}
		predicted = append(predicted, out)
	}
	var all []*Float
	for i, kind := range []model.Kind{model.GRUResetAfter, model.LSTM, model.GRUResetBefore} {
		kept := []int{0, 1, 2, 3, 4}
		if i == 1 {
			kept = []int{0, 2, 4}
		}
		rows := kind.Gates() * units
		all = append(all, &Float{Features: declared, Kept: kept, Outputs: predicted,
			Classes: classes, Net: &model.Network{
				Recurrent: []*model.Recurrent{{Kind: kind, Inputs: len(kept), Units: units,
					W: normal(rows*len(kept), 0.5), U: normal(rows*units, 0.3),
					B: normal(rows, 0.5), D: normal(rows, 0.5)}},
				Dense: []*model.Dense{{Inputs: units, Outputs: outputs,
					W: normal(outputs*units, 0.5), B: normal(outputs, 0.5)}},
			}})
	}
	rec := &Recordings{Features: features, Outputs: outputs, Classes: classes}
	for i, steps := range []int{30, 7, 1, 64, 30, 12, 90, 3, 41, 55, 20} {
		s := &Sequence{Name: fmt.Sprint(i), Scenario: []string{"cold", "warm"}[i%2], Steps: steps}
		for range steps {
			for _, f := range declared {
				s.X = append(s.X, f.Mean+f.Std*random.NormFloat64())
			}
			y := make([]float64, outputs)
			if classes {
				y[random.IntN(outputs)] = 1
			} else {
				for o, out := range predicted {
					y[o] = out.Mean + out.Std*random.NormFloat64()
				}
			}
			s.Y = append(s.Y, y...)
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return all, rec
}

// TestScoreAllAgainstMeasure compares every sum of every sequence, output and region. Outputs are
// off by at most 1e-5 standard deviations (model/lanes, TestStepAgainstModel), and so are, per
// step, their errors, which are at most 8 here.
func TestScoreAllAgainstMeasure(t *testing.T) {
	nets, rec := candidates(1, 2, false)
	regions := []Region{
		{Name: "above the mean", Conditions: []Condition{{Output: 0, Min: pointer(50.0)}}},
		{Name: "never", Conditions: []Condition{{Output: 0, Min: pointer(1e9)}}},
	}
	scores := mustScore(t, Prepare(nets[0], rec, regions), nets)
	for n, net := range nets {
		want := Measure(net, rec, regions)
		for i := range want.tallies {
			a, b := want.tallies[i], scores[n].tallies[i]
			bound := 1e-5 * float64(a.steps) * 1.2 // std is at most 1.2
			if a.steps != b.steps ||
				!(math.Abs(a.sum-b.sum) <= bound && math.Abs(a.sumAbs-b.sumAbs) <= bound &&
					math.Abs(a.sumSq-b.sumSq) <= 16*bound && math.Abs(a.max-b.max) <= 1.2e-5) {
				t.Fatalf("network %d, tally %d: %+v, want %+v", n, i, b, a)
			}
		}
		single := Prepare(nets[0], rec, regions).Score(net)
		if !reflect.DeepEqual(single.tallies, scores[n].tallies) {
			t.Errorf("network %d: alone it has another score", n)
		}
	}
}

// TestScoreAllOnClassesAgainstMeasure: no two scores of a step are within 1e-5 of each other here.
func TestScoreAllOnClassesAgainstMeasure(t *testing.T) {
	nets, rec := candidates(2, 3, true)
	for n, score := range mustScore(t, Prepare(nets[0], rec, nil), nets) {
		want := Measure(nets[n], rec, nil)
		if !reflect.DeepEqual(want.tallies, score.tallies) ||
			!reflect.DeepEqual(want.classes, score.classes) {
			t.Errorf("network %d: %+v, want %+v", n, score, want)
		}
	}
}

func TestScoreAllDoesNotDependOnTheNumberOfCores(t *testing.T) {
	nets, rec := candidates(3, 2, false)
	prepared := Prepare(nets[0], rec, nil)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one := mustScore(t, prepared, nets)
	runtime.GOMAXPROCS(4)
	for n, score := range mustScore(t, prepared, nets) {
		if !reflect.DeepEqual(score.tallies, one[n].tallies) {
			t.Errorf("network %d has another score on four cores", n)
		}
	}
}

func TestScoreAllRefusesOtherOutputs(t *testing.T) {
	nets, rec := candidates(4, 2, false)
	other := *nets[0]
	other.Outputs = []Output{{Name: "o0", Std: 1}, {Name: "o1", Std: 1}}
	defer func() {
		if recover() == nil {
			t.Error("scored by the wrong unit")
		}
	}()
	Prepare(nets[0], rec, nil).Score(&other)
}

// TestAgainst compares a network with itself, which gives no error at all, and with another, which
// gives the differences of their predictions.
func TestAgainst(t *testing.T) {
	for _, classes := range []bool{false, true} {
		nets, rec := candidates(5, 2, classes)
		scores := mustScore(t, Prepare(nets[0], rec, nil).Against(nets[0]), nets[:2])
		for o, out := range nets[0].Outputs {
			slice := Slice{Output: o, Scenario: "warm", Region: -1}
			sum, steps := 0.0, 0
			for _, s := range rec.Sequences {
				if s.Scenario != "warm" {
					continue
				}
				a, b := make([]float64, s.Steps*2), make([]float64, s.Steps*2)
				nets[0].Predict(s, a)
				nets[1].Predict(s, b)
				for step := range s.Steps {
					sum += math.Abs(a[step*2+o] - b[step*2+o])
				}
				steps += s.Steps
			}
			self, other := scores[0].Value(nil, slice, MAE), scores[1].Value(nil, slice, MAE)
			if want := sum / float64(steps); self != 0 || math.Abs(other-want) > 1e-5*out.Std {
				t.Errorf("output %d: %g off itself, %g off the other, want 0 and %g", o, self,
					other, want)
			}
		}
	}
}

// TestEachStep compares every state of every step with double precision; a recording needs no
// reference for that.
func TestEachStep(t *testing.T) {
	nets, rec := candidates(6, 2, false)
	for n, net := range nets {
		for _, s := range rec.Sequences {
			s.Y = nil
		}
		got := make([][]float64, len(rec.Sequences))
		Prepare(nets[0], rec, nil).EachStep(net, func(sequences []int) func(step, active int,
			state *lanes.State) {
			return func(step, active int, state *lanes.State) {
				for lane, sequence := range sequences[:active] {
					if len(got[sequence]) != step*6 {
						t.Errorf("step %d of sequence %d comes out of order", step, sequence)
					}
					for j := range 6 {
						got[sequence] = append(got[sequence],
							float64(state.Hidden(0)[j*lanes.Width+lane]))
					}
				}
			}
		})
		for i, s := range rec.Sequences {
			net.Visit(s, func(step int, run *model.Run, _ []float64) {
				for j, want := range run.State(0) {
					if math.Abs(got[i][step*6+j]-want) > 1e-6 {
						t.Fatalf("network %d, sequence %d, step %d, unit %d: %g, want %g", n, i,
							step, j, got[i][step*6+j], want)
					}
				}
			})
			if len(got[i]) != s.Steps*6 {
				t.Errorf("sequence %d: %d states", i, len(got[i]))
			}
		}
	}
}

// mustScore scores networks without an end.
func mustScore(t *testing.T, p *Prepared, nets []*Float) []*Score {
	t.Helper()
	scores, err := p.ScoreAll(t.Context(), nets)
	if err != nil {
		t.Fatal(err)
	}
	return scores
}
