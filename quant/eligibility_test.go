package quant

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"kerf/dataset"
	"kerf/model"
)

// deafUnits returns a layer of some units of a random one. Its units hear neither themselves nor
// each other, so that their own memory is all there is.
func deafUnits(kind model.Kind, which ...int) (*dataset.Float, *dataset.Recordings) {
	p := layered(21, []model.Kind{kind}, []model.Activation{model.Identity})
	l := p.Net.Recurrent[0]
	deaf := &model.Recurrent{Kind: kind, Inputs: l.Inputs, Units: len(which),
		U: make([]float64, kind.Gates()*len(which)*len(which))}
	for g := range kind.Gates() {
		for _, j := range which {
			r := g*l.Units + j
			deaf.W = append(deaf.W, l.W[r*l.Inputs:(r+1)*l.Inputs]...)
			deaf.B, deaf.D = append(deaf.B, l.B[r]), append(deaf.D, l.D[r]+0.3)
		}
	}
	head := &model.Dense{Inputs: len(which), Outputs: 1, W: slices.Repeat([]float64{1}, len(which)),
		B: []float64{0}}
	q := dataset.NewFloat(&model.Network{Recurrent: []*model.Recurrent{deaf},
		Dense: []*model.Dense{head}}, p.Features, p.Outputs[:1])
	return q, RandomRecordings(22, q, 3, 150)
}

// A small change e of a weight moves the state that the unit keeps by e·φ, so the mean square of
// the movement is e² times the second moment of φ. The test runs the network twice for every input
// weight and for the biases.
func TestFollowedIsTheSlopeOfTheState(t *testing.T) {
	for _, kind := range []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM,
		model.ElmanTanh, model.ElmanReLU} {
		p, rec := deafUnits(kind, 0)
		l := p.Net.Recurrent[0]
		c := Calibrate(p, rec)
		const e = 1e-5
		check := func(what string, gate int, weight *float64, phi int) {
			t.Helper()
			before := kept(p, rec)
			*weight += e
			after := kept(p, rec)
			*weight -= e
			sum := 0.0
			for i, h := range after {
				sum += (h - before[i]) * (h - before[i])
			}
			want := sum / float64(len(before)) / (e * e)
			if kind == model.LSTM && gate == 3 {
				return // acts on the output of a step, not on what is kept
			}
			if kind == model.GRUResetBefore && gate == 0 {
				return // acts through the weights between units, of which there are none here
			}
			if got := c.Layers[0].Followed[gate].At(phi, phi); math.Abs(got-want) > 1e-3*want+1e-9 {
				t.Errorf("%s, gate %d, %s: second moment %.6g, measured %.6g", kind, gate, what,
					got, want)
			}
		}
		width := l.Inputs + 3
		for gate := range kind.Gates() {
			for i := range l.Inputs {
				check("input weight", gate, &l.W[gate*l.Inputs+i], i)
			}
			check("bias of W", gate, &l.B[gate], width-2)
			check("bias of U", gate, &l.D[gate], width-1)
		}
	}
}

// Units that do not hear each other have the traces that each has alone.
func TestUnitsSideBySideAreFollowedAsAlone(t *testing.T) {
	for _, kind := range []model.Kind{model.GRUResetAfter, model.GRUResetBefore, model.LSTM,
		model.ElmanTanh, model.ElmanReLU} {
		p, rec := deafUnits(kind, 3, 5)
		both := Calibrate(p, rec).Layers[0].Followed
		for j, unit := range []int{3, 5} {
			q, _ := deafUnits(kind, unit)
			inputs := q.Net.Recurrent[0].Inputs
			for gate, alone := range Calibrate(q, rec).Layers[0].Followed {
				beside := both[gate*2+j]
				// the inputs and both biases; states lie between them, one or two
				for i := range inputs + 2 {
					a, b := i, i
					if i >= inputs {
						a, b = i+1, i+2
					}
					if want, got := alone.At(a, a), beside.At(b, b); math.Abs(got-want) >
						1e-12*want {
						t.Errorf("%s, unit %d, gate %d, place %d: second moment %g, alone %g", kind,
							unit, gate, i, got, want)
					}
				}
			}
		}
	}
}

// kept returns the states that the only unit keeps (LSTM: the cell), at all steps of all sequences.
func kept(p *dataset.Float, rec *dataset.Recordings) []float64 {
	var all []float64
	for _, s := range rec.Sequences {
		p.Visit(s, func(_ int, run *model.Run, _ []float64) {
			if cell := run.Cell(0); cell != nil {
				all = append(all, cell[0])
			} else {
				all = append(all, run.State(0)[0])
			}
		})
	}
	return all
}

// A plan is the minimum it claims to be: given an error of the input weights, any
// other change of states' weights and bias than push and mean say leaves more.
func TestThePlanOfARowIsAMinimum(t *testing.T) {
	random := rand.New(rand.NewPCG(23, 0))
	const inputs, units = 4, 3
	second := mat.NewSymDense(inputs+units+2, nil)
	trace := 0.0
	for range 40 {
		v := make([]float64, inputs+units+2)
		for i := range v {
			v[i] = random.NormFloat64() + 0.5
		}
		second.SymRankOne(second, 1, mat.NewVecDense(len(v), v))
	}
	for i := range units {
		trace += second.At(inputs+i, inputs+i)
	}
	plan, ok := planRow(second, inputs)
	if !ok {
		t.Fatal("no plan")
	}
	// left is the second moment that an error e leaves with du added to U and db to the bias.
	left := func(e, du []float64, db float64) float64 {
		v := append(append(append([]float64{}, e...), make([]float64, units)...), -db, 0)
		held := 0.0
		for i, d := range du {
			v[inputs+i] = -d
			held += damping * trace / units * d * d
		}
		x := mat.NewVecDense(len(v), v)
		return mat.Inner(x, second, x) + held
	}
	for range 20 {
		e := []float64{random.NormFloat64(), random.NormFloat64(), random.NormFloat64(),
			random.NormFloat64()}
		du := make([]float64, units)
		for c, push := range plan.push {
			for j := range push[:units] {
				du[j] += push[j] * e[c]
			}
		}
		db := 0.0
		for i, v := range e {
			db += v * plan.input.moments.Mean[i]
		}
		best := left(e, du, db)
		x := mat.NewVecDense(inputs, e)
		if claimed := mat.Inner(x, plan.input.moments.Covariance, x); math.Abs(claimed-best) >
			1e-9*best {
			t.Errorf("the plan leaves %g, it claims %g", best, claimed)
		}
		for range 5 {
			other := append([]float64{}, du...)
			other[random.IntN(units)] += 0.1 * random.NormFloat64()
			if worse := left(e, other, db+0.1*random.NormFloat64()); worse < best {
				t.Errorf("another change leaves %g, the plan %g", worse, best)
			}
		}
	}
	// So it is for an error of the states' weights, of which the bias of U takes its share.
	recurrent := plan.recurrent.moments
	for range 20 {
		v := make([]float64, inputs+units+2)
		e := v[inputs : inputs+units]
		db := 0.0
		for i := range e {
			e[i] = random.NormFloat64()
			db += e[i] * recurrent.Mean[i]
		}
		v[len(v)-1] = -db
		x, u := mat.NewVecDense(len(v), v), mat.NewVecDense(units, e)
		best, claimed := mat.Inner(x, second, x), mat.Inner(u, recurrent.Covariance, u)
		if math.Abs(claimed-best) > 1e-9*best {
			t.Errorf("the bias of U leaves %g, the plan claims %g", best, claimed)
		}
		v[len(v)-1] += 0.1 * random.NormFloat64()
		if worse := mat.Inner(x, second, x); worse < best {
			t.Errorf("another bias of U leaves %g, the plan's %g", worse, best)
		}
	}
}

// Layers whose moments would fill the memory are rounded as Compensated does.
func TestALargeLayerIsNotFollowed(t *testing.T) {
	small, large := &model.Recurrent{Kind: model.LSTM, Inputs: 20, Units: 64},
		&model.Recurrent{Kind: model.LSTM, Inputs: 20, Units: 128}
	if newTraceSum(small, 1) == nil || newTraceSum(large, 1) != nil {
		t.Error("want a layer of 64 units to be followed and one of 128 not")
	}
	p := RandomFloat(3, 8, 6, 2)
	rec := RandomRecordings(4, p, 2, 100)
	c := Calibrate(p, rec)
	compensated := mustRound(t, p, c, Compensated)
	c.Layers[0].Followed = nil
	for i, m := range mustRound(t, p, c, AtState).Matrices()[:2] {
		for k, w := range compensated.Matrices()[i].W {
			if m.W[k] != w {
				t.Fatalf("%s: weight %d is %d, error-compensated %d", m.Name, k, m.W[k], w)
			}
		}
	}
}

func mustRound(t *testing.T, p *dataset.Float, c Calibration, rounding Rounding) *Network {
	t.Helper()
	n, err := Quantize(p, c, Uniform(p.Net, 8, 16, 16), rounding)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// By hand: rounding takes 0.25 and 0.5 from the input weights of the second row, 1.25 and 3. The
// plan pushes 2 and -1 times the first, and 1 and 4 times the second, to the weights of the states:
// they rise by 0.5 + 0.5 and by -0.25 + 2. The first row has no plan and keeps its own.
func TestPushedTakesUpTheErrorOfTheInputs(t *testing.T) {
	l := &model.Recurrent{Kind: model.ElmanTanh, Inputs: 2, Units: 2,
		W: []float64{5.25, 7.5, 1.25, 3}, U: []float64{0.5, 0.75, 0.5, 0.75}}
	input := &Matrix{Rows: 2, Cols: 2, W: []int32{5, 7, 2, 5}, Fraction: []int{0, 1}}
	got := pushed(l, input, []rowPlan{{}, {push: [][]float64{{2, -1}, {1, 4}}}})
	if want := []float64{0.5, 0.75, 1.5, 2.5}; !slices.Equal(got, want) {
		t.Errorf("U becomes %v, want %v", got, want)
	}
}
