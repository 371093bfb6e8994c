package dataset

import (
	"math"
	"math/rand/v2"
	"testing"

	"kerf/model"
)

// Steps that settle count nowhere: a score over sequences whose first steps settle is the score
// over the rest, by hand, in double precision and in lanes, as a whole and in pieces.
func TestTheStartCountsNowhere(t *testing.T) {
	for _, classes := range []bool{false, true} {
		outputs := 2
		if classes {
			outputs = 3
		}
		nets, rec := candidates(8, outputs, classes)
		for i, s := range rec.Sequences {
			s.Settle = []int{0, 3, 5}[i%3]
		}
		for _, memory := range []int{0, 4} {
			rec.Memory = memory
			for _, metric := range Metrics(classes)[:2] {
				slice := Slice{Region: -1}
				want, steps := byHand(nets[0], rec, metric)
				for name, score := range map[string]*Score{"measured": Measure(nets[0], rec, nil),
					"in lanes": Prepare(nets[0], rec, nil).Score(nets[0])} {
					c := CompareRoughly(score, score, slice, metric)
					if c.Steps != steps || math.Abs(c.Other-want) > 1e-5*(1+math.Abs(want)) {
						t.Errorf("%s, memory %d, %s: %g of %d steps, want %g of %d", metric, memory,
							name, c.Other, c.Steps, want, steps)
					}
				}
			}
		}
	}
}

// byHand returns an RMSE, an MAE, an accuracy or a balanced accuracy of output 0 over the steps
// that count.
func byHand(p Predictor, rec *Recordings, metric Metric) (value float64, steps int) {
	squares, magnitudes, right := 0.0, 0.0, 0.0
	members, found := make([]float64, rec.Outputs), make([]float64, rec.Outputs)
	for _, s := range rec.Sequences {
		got := make([]float64, s.Steps*rec.Outputs)
		p.Predict(s, got)
		for step := s.Settle; step < s.Steps; step++ {
			steps++
			e := got[step*rec.Outputs] - s.Y[step*rec.Outputs]
			squares, magnitudes = squares+e*e, magnitudes+math.Abs(e)
			class := Class(s.Y[step*rec.Outputs : (step+1)*rec.Outputs])
			members[class]++
			if class == Class(got[step*rec.Outputs:(step+1)*rec.Outputs]) {
				found[class]++
				right++
			}
		}
	}
	n := float64(steps)
	switch metric {
	case RMSE:
		return math.Sqrt(squares / n), steps
	case MAE:
		return magnitudes / n, steps
	case Accuracy:
		return right / n, steps
	}
	for class, m := range members {
		value += found[class] / m / float64(rec.Outputs)
	}
	return value, steps
}

// The explained share is 1 less the ratio of the squared errors of the network to those of the
// constant, by hand.
func TestExplainedByHand(t *testing.T) {
	// References 1, 3 and 5, 7 have the mean 4: squared errors of the constant 9+1+1+9 = 20.
	// Predictions miss by 1, 0, 1, 1: 3 of 20.
	rec := &Recordings{Features: 1, Outputs: 1}
	rec.Sequences = []*Sequence{
		{Name: "a", Scenario: "s", Steps: 2, X: []float64{1, 0}, Y: []float64{1, 3}},
		{Name: "b", Scenario: "s", Steps: 2, X: []float64{1, 1}, Y: []float64{5, 7}},
	}
	constant := ConstantOf(rec)
	if constant.Outputs[0] != 4 {
		t.Errorf("the constant is %g, want 4", constant.Outputs[0])
	}
	base, net := Measure(constant, rec, nil), Measure(givenErrors{1}, rec, nil)
	c := Compare(base, net, whole, Explained)
	if math.Abs(c.Other-0.85) > 1e-12 || !(c.OtherLow < 0.85 && c.OtherHigh > 0.85) ||
		!math.IsNaN(c.Rise) {
		t.Errorf("explains %g [%g, %g], want 0.85", c.Other, c.OtherLow, c.OtherHigh)
	}
	if v := net.Value(base, whole, Explained); v != c.Other {
		t.Errorf("value %g, compared %g", v, c.Other)
	}
	classes := &Recordings{Features: 1, Outputs: 2, Classes: true}
	classes.Sequences = []*Sequence{
		{Name: "a", Scenario: "s", Steps: 3, X: make([]float64, 3), Y: []float64{1, 0, 1, 0, 0, 1}},
		{Name: "b", Scenario: "s", Steps: 3, X: make([]float64, 3), Y: []float64{1, 0, 0, 1, 1, 0}},
	}
	constant = ConstantOf(classes) // class 0 on four of six steps: two are wrong
	if Class(constant.Outputs) != 0 {
		t.Errorf("the constant class is %d, want 0", Class(constant.Outputs))
	}
	always1 := &Constant{[]float64{0, 1}} // four wrong steps: twice those of the constant
	if v := Measure(always1, classes, nil).Value(Measure(constant, classes, nil), whole,
		Explained); v != -1 {
		t.Errorf("explains %g, want -1", v)
	}
}

// The state of a single unit with a constant update gate z falls by the factor z per step, to 1/e
// after -1/ln z steps.
func TestMemoryOfOneUnit(t *testing.T) {
	for _, steps := range []float64{5, 50, 200} {
		z := math.Exp(-1 / steps)
		layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: 1, Units: 1,
			W: []float64{0, 0, 1}, U: make([]float64, 3), B: []float64{0, math.Log(z / (1 - z)), 0},
			D: make([]float64, 3)}
		net := &model.Network{Recurrent: []*model.Recurrent{layer},
			Dense: []*model.Dense{{Inputs: 1, Outputs: 1, W: []float64{1}, B: []float64{0}}}}
		p := NewFloat(net, []Feature{{Name: "f", Std: 1}}, []Output{{Name: "y", Std: 1}})
		rec := &Recordings{Features: 1, Outputs: 1}
		for i := range 3 {
			s := &Sequence{Name: "s", Scenario: "s", Steps: 1000}
			for range s.Steps {
				s.X, s.Y = append(s.X, float64(i-1)), append(s.Y, 0)
			}
			rec.Sequences = append(rec.Sequences, s)
		}
		if got := float64(p.Memory(rec)); math.Abs(got-steps) > 2 {
			t.Errorf("remembers %g steps, want %g", got, steps)
		}
		// Sequences that have ended say nothing about later steps.
		for _, s := range rec.Sequences[:2] {
			s.Steps = 30
			s.X, s.Y = s.X[:s.Steps], s.Y[:s.Steps]
		}
		if got := float64(p.Memory(rec)); math.Abs(got-steps) > 2 {
			t.Errorf("with short sequences it remembers %g steps, want %g", got, steps)
		}
	}
}

// A start whose errors are three times those of the rest is found, to the next power of two; errors
// that are alike throughout have no start of their own.
func TestUnlikeStart(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 6))
	squares := func(start int, times float64) [][]float64 {
		all := make([][]float64, 10)
		for i := range all {
			for step := range 400 {
				e := random.NormFloat64()
				if step < start {
					e *= times
				}
				all[i] = append(all[i], e*e)
			}
		}
		return all
	}
	if got := UnlikeStart(squares(50, 3)); got < 32 || got > 64 {
		t.Errorf("the start ends at step %d, want about 50", got)
	}
	if got := UnlikeStart(squares(50, 0.2)); got < 32 || got > 64 {
		t.Errorf("a better start ends at step %d, want about 50", got)
	}
	found := 0
	for range 100 {
		if UnlikeStart(squares(0, 1)) > 0 {
			found++
		}
	}
	if found > 10 {
		t.Errorf("where there is no start of its own, one is found in %d of 100 draws", found)
	}
	if got := UnlikeStart(squares(50, 3)[:1]); got != 0 {
		t.Errorf("one sequence shows a start of %d steps", got)
	}
}

// The errors of the pieces add up to those of the sequence, and the influences of the pieces to
// about 0.
func TestPiecesAddUp(t *testing.T) {
	a, b := pairedErrors(rand.New(rand.NewPCG(1, 2)), 3, 0.25)
	base, other := scoreOf(a), scoreOf(b)
	pieces := func(s *Score) *Score {
		rec := *s.rec
		rec.Memory = 10
		return Measure(givenErrors{1}, &rec, nil)
	}
	for _, m := range []Metric{RMSE, MAE, Bias, MaxError} {
		want, got := CompareRoughly(base, other, whole, m),
			CompareRoughly(pieces(base), pieces(other), whole, m)
		if math.Abs(want.Other-got.Other) > 1e-12 || math.Abs(want.Base-got.Base) > 1e-12 ||
			want.Steps != got.Steps || want.Sequences != got.Sequences {
			t.Errorf("%s: %+v in pieces, want %+v", m, got, want)
		}
	}
	if c := Compare(pieces(base), pieces(other), whole, RMSE); c.Blocks != 0 {
		t.Errorf("sequences that differ are judged by %d blocks, which reach less far", c.Blocks)
	}
	a, b = pairedErrors(rand.New(rand.NewPCG(1, 4)), 3, 0)
	c := Compare(pieces(scoreOf(a)), pieces(scoreOf(b)), whole, RMSE)
	if c.Blocks < fewestBlocks || c.BlockSteps < 20 {
		t.Errorf("three sequences of 400 steps with a memory of ten are judged by %d blocks of "+
			"%d steps", c.Blocks, c.BlockSteps)
	}
	rises, _ := influences(pieces(base), pieces(other), whole, RMSE)
	sum, size := 0.0, 0.0
	for _, s := range rises {
		for _, v := range s {
			sum, size = sum+v, size+math.Abs(v)
		}
	}
	if math.Abs(sum) > 0.05*size {
		t.Errorf("influences add up to %g of %g", sum, size)
	}
}
