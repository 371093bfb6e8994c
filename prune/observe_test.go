package prune

import (
	"math"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"kerf/dataset"
	"kerf/model"
)

// withReference fills in reference outputs that follow the predictions of a
// network, less those of output 1 at every third step.
func withReference(p *dataset.Float, rec *dataset.Recordings) {
	for _, s := range rec.Sequences {
		p.Predict(s, s.Y)
		for i := 1; i < len(s.Y); i += 6 {
			s.Y[i] = -s.Y[i]
		}
	}
}

// The view of a layer is computed again from all states with gonum: correlation, covariance and its
// eigenvalues λ, of which the participation ratio is (Σλ)²/Σλ².
func TestObserveAgreesWithGonum(t *testing.T) {
	for i, kinds := range stacks {
		p, rec := stacked(uint64(i), kinds...)
		withReference(p, rec)
		four := -0.1
		region := dataset.Region{Name: "deep",
			Conditions: []dataset.Condition{{Output: 0, Max: &four}}}
		o := Observe(p, rec, []dataset.Region{region})
		if len(o.Events) != 5 || o.Events[4].Name != "region deep" || o.Events[2].Name != "low b" {
			t.Fatalf("events %+v", o.Events)
		}
		var y [2][]float64
		for _, s := range rec.Sequences {
			for step := range s.Steps {
				y[0], y[1] = append(y[0], s.Y[2*step]), append(y[1], s.Y[2*step+1])
			}
		}
		for l := range kinds {
			var states []float64
			for _, s := range rec.Sequences {
				p.Visit(s, func(_ int, run *model.Run, _ []float64) {
					states = append(states, run.State(l)...)
				})
			}
			m := mat.NewDense(len(states)/5, 5, states)
			var covariance mat.SymDense
			stat.CovarianceMatrix(&covariance, m, nil)
			var eigen mat.EigenSym
			if !eigen.Factorize(&covariance, false) {
				t.Fatal("no eigenvalues")
			}
			sum, squares := 0.0, 0.0
			for _, v := range eigen.Values(nil) {
				sum += v
				squares += v * v
			}
			view := o.Layers[l]
			if want := sum * sum / squares; math.Abs(view.Dimensions-want) > 1e-9 {
				t.Errorf("%v, layer %d: %v dimensions, want %v", kinds, l, view.Dimensions, want)
			}
			for j, u := range view.Units {
				h := mat.Col(nil, j, m)
				checks := map[string][2]float64{
					"min": {u.Min, slices.Min(h)}, "max": {u.Max, slices.Max(h)},
					"mean":          {u.Mean, stat.Mean(h, nil)},
					"std":           {u.Std, stat.PopStdDev(h, nil)},
					"correlation a": {u.Correlation[0], stat.Correlation(h, y[0], nil)},
					"correlation b": {u.Correlation[1], stat.Correlation(h, y[1], nil)},
					"of units": {view.Correlation[j][0],
						stat.Correlation(h, mat.Col(nil, 0, m), nil)},
					"positive": {u.Positive, share(h, func(_ int, v float64) bool {
						return v > 0
					})},
				}
				if kinds[l] != model.ElmanReLU {
					checks["saturated"] = [2]float64{u.Saturated,
						share(h, func(_ int, v float64) bool {
							return math.Abs(v) >= 0.95
						})}
				} else if !math.IsNaN(u.Saturated) {
					t.Errorf("a ReLU saturates: %v", u.Saturated)
				}
				in := func(i int) bool { return y[0][i] <= four }
				iou := func(on func(v float64) bool) float64 {
					common := share(h, func(i int, v float64) bool { return on(v) && in(i) })
					if common == 0 {
						return 0
					}
					return common / share(h, func(i int, v float64) bool { return on(v) || in(i) })
				}
				both, off := iou(func(v float64) bool {
					return v > 0
				}), iou(func(v float64) bool { return v <= 0 })
				checks["overlap"] = [2]float64{u.Overlaps[4].IoU, max(both, off)}
				for what, v := range checks {
					if math.IsNaN(v[1]) && math.IsNaN(v[0]) {
						continue // a constant unit correlates with nothing
					}
					if !(math.Abs(v[0]-v[1]) <= 1e-9*(1+math.Abs(v[1]))) {
						t.Errorf("%v, unit %s, %s: %v, want %v", kinds, u.Name, what, v[0], v[1])
					}
				}
				if u.Overlaps[4].Positive != (both >= off) {
					t.Errorf("%v, unit %s: sign %v with overlaps %v and %v", kinds, u.Name,
						u.Overlaps[4].Positive, both, off)
				}
			}
		}
	}
}

func share(h []float64, is func(i int, v float64) bool) float64 {
	n := 0
	for i, v := range h {
		if is(i, v) {
			n++
		}
	}
	return float64(n) / float64(len(h))
}

// Quarters of an output of 180 distinct values hold 45 steps each, give or take
// the one at the cut.
func TestEventsAreQuarters(t *testing.T) {
	p, rec := stacked(1, model.LSTM)
	withReference(p, rec)
	for _, e := range Observe(p, rec, nil).Events {
		if math.Abs(e.Share-0.25) > 1.5/180 {
			t.Errorf("%s holds %v of the steps", e.Name, e.Share)
		}
	}
}

func TestEventsOfAClassifier(t *testing.T) {
	p, rec := stacked(1, model.LSTM)
	p.Classes, rec.Classes = true, true
	for _, s := range rec.Sequences {
		for step := range s.Steps {
			s.Y[2*step+min(1, step%3)] = 1
		}
	}
	got := Observe(p, rec, nil).Events
	if want := []Event{{"a", "a", 1.0 / 3}, {"b", "b", 2.0 / 3}}; !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// A gate without weights is the logistic of its bias, ln 9 gives 0.9: ten steps. An
// Elman unit with feedback 0.5 in the linear part of ReLU forgets half in a step: two.
func TestTimeConstants(t *testing.T) {
	for _, c := range []struct {
		kind model.Kind
		want float64
	}{{model.GRUResetAfter, 10}, {model.GRUResetBefore, 10}, {model.LSTM, 10},
		{model.ElmanReLU, 2}} {
		p, rec := stacked(3, c.kind)
		l := p.Net.Recurrent[0]
		if c.kind == model.ElmanReLU {
			clear(l.U)
			l.U[2*5+2], l.B[2] = 0.5, 100
		} else {
			row := 5 + 2
			clear(l.W[row*4 : row*4+4])
			clear(l.U[row*5 : row*5+5])
			l.B[row], l.D[row] = math.Log(9), 0
		}
		if got := Observe(p, rec, nil).Layers[0].Units[2].TimeConstant; math.Abs(got-c.want) >
			1e-9 {
			t.Errorf("%v: %v steps, want %v", c.kind, got, c.want)
		}
	}
}

func TestObserveDoesNotDependOnTheNumberOfCores(t *testing.T) {
	p, rec := stacked(3, model.GRUResetAfter, model.LSTM)
	withReference(p, rec)
	observe := func(cores int) *Observed {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		return Observe(p, rec, nil)
	}
	if one, four := observe(1), observe(4); !reflect.DeepEqual(one, four) {
		t.Error("one core and four differ")
	}
}

func TestAdvice(t *testing.T) {
	unit := func(name string, std, saturated float64, overlaps ...Overlap) UnitView {
		return UnitView{Name: name, Std: std, Saturated: saturated, Overlaps: overlaps}
	}
	o := &Observed{
		Events: []Event{{"region air masks leakage", "air masks leakage", 0.2},
			{"high air", "air", 0.25}, {"region hot", "hot", 0}},
		Layers: []LayerView{{
			Kind: model.LSTM, Dimensions: 2.44,
			Units: []UnitView{
				unit("0", 0.5, 0, Overlap{0.20, true}, Overlap{0.7, true}, Overlap{}),
				unit("1", 0.4, 0.97, Overlap{0.21, false}, Overlap{0.2, true}, Overlap{}),
				unit("2", 0.004, 0, Overlap{0.1, true}, Overlap{0.2, true}, Overlap{}),
				unit("3", 0.3, 0, Overlap{0.1, true}, Overlap{0.2, true}, Overlap{}),
			},
			Correlation: [][]float64{{1, 0.2, 0, -0.97}, {0.2, 1, 0, 0}, {0, 0, 1, 0},
				{-0.97, 0, 0, 1}},
		}},
	}
	want := []string{
		"the 4 units use 2.4 dimensions",
		"units 0 and 3 carry the same signal (correlation of 0.97 or more in magnitude); drop one",
		"hardly moving: unit 2 (standard deviation 0.004 or less, the largest is 0.5); can go",
		"at an end of the range on 97 % of the steps or more: unit 1; carries little",
		"nothing responds to region air masks leakage (the best, unit 1, overlaps it by 0.21, a " +
			"unit that is always on by 0.20); consider adding a unit",
		"no step of the recordings lies in region hot: nothing can be said about it",
	}
	if got := o.Advice(); !slices.Equal(got, want) {
		t.Errorf("advice:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// Units that repeat each other are found in a network.
func TestTwinsAreFound(t *testing.T) {
	p, rec := stacked(2, model.GRUResetBefore)
	twin(p.Net.Recurrent[0], 1, 3)
	twin(p.Net.Recurrent[0], 1, 4)
	got := Observe(p, rec, nil).Layers[0].Twins()
	if len(got) != 1 || !slices.Equal(got[0].Units, []int{1, 3, 4}) || got[0].Correlation < 1-1e-9 {
		t.Errorf("%+v, want units 1, 3 and 4", got)
	}
}
