package budget

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/quant"
)

// riseOf is a tolerance on the rise of the RMSE.
func riseOf(limit float64) Tolerance {
	return Tolerance{Figures: Figures{RMSERise: &Share{Value: limit}}}
}

// handMade is a GRU whose units hear no other unit; output o is the state of unit
// o. Every output has a tolerance of 5 % on the rise of its RMSE. candidate holds
// two input weights and the bias of every unit's candidate, update the biases of
// the update gates. The reference is the float network's output and noise.
func handMade(t *testing.T, candidate [][3]float64, update []float64, steps int,
	noise float64) *Inputs {
	t.Helper()
	units := len(update)
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: 2, Units: units,
		W: make([]float64, 6*units), U: make([]float64, 3*units*units), B: make([]float64, 3*units),
		D: make([]float64, 3*units)}
	head := &model.Dense{Inputs: units, Outputs: units, W: make([]float64, units*units),
		B: make([]float64, units)}
	var outputs []dataset.Output
	in := &Inputs{Job: &Job{Tolerances: map[string]Tolerance{}}}
	for j, w := range candidate {
		copy(layer.W[2*(2*units+j):], w[:2])
		layer.B[2*units+j], layer.B[units+j] = w[2], update[j]
		head.W[j*units+j] = 1
		name := fmt.Sprintf("y%d", j)
		outputs = append(outputs, dataset.Output{Name: name, Std: 1})
		in.Job.Tolerances[name] = riseOf(0.05)
	}
	in.Float = dataset.NewFloat(&model.Network{Recurrent: []*model.Recurrent{layer},
		Dense: []*model.Dense{head}}, []dataset.Feature{{Name: "a", Std: 1}, {Name: "b", Std: 1}},
		outputs)
	random := rand.New(rand.NewPCG(11, 0))
	in.Selection = &dataset.Recordings{Features: 2, Outputs: units}
	for i := range 8 {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: "only", Steps: steps,
			X: make([]float64, 2*steps), Y: make([]float64, units*steps)}
		for k := range s.X {
			s.X[k] = 2*random.Float64() - 1
		}
		in.Float.Predict(s, s.Y)
		for k := range s.Y {
			s.Y[k] += noise * random.NormFloat64()
		}
		in.Selection.Sequences = append(in.Selection.Sequences, s)
	}
	return in
}

func chooseWidths(t *testing.T, in *Inputs) *Chosen {
	t.Helper()
	chosen, err := NewPlanner(in).Choose(t.Context(), CutByHand(in.Whole(quant.Formats{})))
	if err != nil {
		t.Fatal(err)
	}
	return chosen
}

// oneFineRow has input weights that 4 bits hold exactly, except in unit 1: beside
// a weight of 7/8 it has one of 0.003, for which a row of 8 bits has no step. An
// error of 0.003 times an input is several times the noise.
func oneFineRow(t *testing.T) *Inputs {
	return handMade(t, [][3]float64{{0.5, 0.5, 0}, {0.875, 0.003, 0}, {0.25, -0.5, 0}},
		[]float64{-1, -1, -1}, 200, 4e-4)
}

func TestTheUnitThatForcesWideWeights(t *testing.T) {
	chosen := chooseWidths(t, oneFineRow(t))
	if want := (quant.LayerFormats{InputBits: 16, RecurrentBits: 4,
		StateBits: 16}); !chosen.Within || chosen.Candidate.Formats.Layers[0] != want {
		t.Fatalf("within %v with %s", chosen.Within, chosen.Candidate.Formats)
	}
	if len(chosen.Forced) != 1 {
		t.Fatalf("%d words are forced, want the input weights alone: %+v", len(chosen.Forced),
			chosen.Forced)
	}
	f := chosen.Forced[0]
	t.Log(f.Explain())
	if f.What != "input weights" || f.Bits != 16 || f.Narrower != 8 || len(f.Rows) != 1 ||
		f.Rows[0].Name != "1" || f.All != 3 {
		t.Errorf("forced: %+v", f)
	}
	if f.Rows[0].Share < 0.99 || f.Rows[0].Share > 1 {
		t.Errorf("unit 1 has %.3f of the error, the others have none", f.Rows[0].Share)
	}
	if text := f.Explain(); !strings.Contains(text, "forced by trained unit 1 (100 % of the "+
		"error, memory 1 steps): with int16 for 1 of 3 units alone, ") {
		t.Errorf("in words: %s", text)
	}
	// The update gate is 1/(1+e): 1 - z = e/(1+e).
	if want := (1 + math.E) / math.E; math.Abs(f.Rows[0].Memory-want) > 1e-9 {
		t.Errorf("it remembers %g steps, want %g", f.Rows[0].Memory, want)
	}
	if f.Tightest.Output != "y1" || !(f.Tightest.MayReach > f.Tightest.Tolerance) ||
		!(f.Rest.MayReach <= f.Rest.Tolerance) {
		t.Errorf("with int8 %s may reach %g, with int16 for unit 1 alone %g", f.Tightest.Output,
			f.Tightest.MayReach, f.Rest.MayReach)
	}
}

// Unit 0 creeps towards its candidate and stalls in 16 bits (testdata and
// constants as in TestSlowUnitStallsWith16BitsAndFollowsWith32 of package quant),
// the others are fast.
func TestTheUnitThatForcesAWideState(t *testing.T) {
	in := handMade(t, [][3]float64{{0, 0, 205.0 / 2048}, {0.5, 0.25, 0}, {0.25, -0.5, 0}},
		[]float64{8.5, -2, -2}, 2000, 2e-3)
	in.Job.Formats.Weights = "int16"
	chosen := chooseWidths(t, in)
	if len(chosen.Forced) != 1 || chosen.Candidate.Formats.Layers[0].StateBits != 32 {
		t.Fatalf("%s, forced: %+v", chosen.Candidate.Formats, chosen.Forced)
	}
	f := chosen.Forced[0]
	t.Log(f.Explain())
	if f.What != "state" || f.Bits != 32 || f.Narrower != 16 || len(f.Rows) != 1 ||
		f.Rows[0].Name != "0" {
		t.Errorf("forced: %+v", f)
	}
	if u := f.Rows[0]; u.Stalled == 0 || u.Steps != 8*2000 ||
		math.Abs(u.Memory/(1+math.Exp(8.5))-1) > 1e-6 {
		t.Errorf("unit 0 stands still on %d of %d steps and remembers %g; want some of "+
			"16000, and %g", u.Stalled, u.Steps, u.Memory, 1+math.Exp(8.5))
	}
}

// Words of several units are named one after the other, six of them; of all units there is no rest.
func TestForcedUnitsInWords(t *testing.T) {
	for _, c := range []struct {
		rows int
		want string
	}{
		{1, "forced by trained unit u0 (100 % of the error): with int16 for 1 of 8 units alone, " +
			"99.9997 % of a tolerance may be used"},
		{2, "forced by trained units u0 (50 % of the error), u1 (50 %): with int16 for 2 of 8 " +
			"units alone, 99.9997 % of a tolerance may be used, with 1 of them 100.2 %"},
		{8, "forced by trained units u0 (12 % of the error), u1 (12 %), u2 (12 %), u3 (12 %), " +
			"u4 (12 %), u5 (12 %) and 2 more: with int16 for 7 of these 8 alone, 100.2 % of a " +
			"tolerance may be used"},
	} {
		f := Forced{Of: unitRows, All: 8, RestUsed: 0.999997, OneLess: 1.002}
		f.Bits = 16
		for j := range c.rows {
			f.Rows = append(f.Rows,
				ForcedUnit{Name: fmt.Sprint("u", j), Share: 1 / float64(c.rows)})
		}
		if text := f.Explain(); !strings.Contains(text, c.want) {
			t.Errorf("in words: %s", text)
		}
	}
}

// With room for every word the cheapest of the uniform choices is where single words are narrowed
// from: int8 and a state of 16 bits.
func TestNarrowingStartsFromTheCheapestWords(t *testing.T) {
	in := oneFineRow(t)
	for name := range in.Job.Tolerances {
		in.Job.Tolerances[name] = Tolerance{Figures: Figures{RMSE: &Bound{Value: 1e6}}}
	}
	chosen := chooseWidths(t, in)
	if !chosen.Within || len(chosen.Widths) == 0 {
		t.Fatalf("within %v, %d single words tried", chosen.Within, len(chosen.Widths))
	}
	for _, step := range chosen.Widths {
		if step.Bits != 4 && step.What != "dense weights" { // the head begins with 16 bits
			t.Errorf("int%d was tried for the %s, which is no narrower than what all can have",
				step.Bits, step.What)
		}
	}
}

// The job fixes int8. Widening the input weights is what helps: 3 groups of 4 rows by 2 columns
// take 24 bytes more. The row that was broken is the one whose figures the sentence gives.
func TestTheWordToBlame(t *testing.T) {
	in := oneFineRow(t)
	in.Job.Formats = FormatRule{Weights: "int8", State: "int16"}
	chosen := chooseWidths(t, in)
	r := &Result{Inputs: in, Chosen: chosen}
	r.warnWords(NewPlanner(in))
	b := r.Blame
	if chosen.Within || b == nil || b.Step == nil {
		t.Fatalf("within %v, to blame: %+v", chosen.Within, b)
	}
	if b.Step.What != "input weights" || b.Step.Bits != 16 || b.Step.Saved != -24 {
		t.Errorf("to blame: %+v", b.Step)
	}
	now, with := b.Row, b.With
	if now.Output != "y1" || with.Output != "y1" || !(now.MayReach > now.Tolerance) ||
		!(with.MayReach <= now.Tolerance) {
		t.Errorf("now %+v, with the wider word %+v", now, with)
	}
	t.Log(r.Warnings)
	if len(r.Warnings) != 1 || !strings.HasPrefix(r.Warnings[0], "the input weights are to blame: "+
		"with int16 for them, which costs 24 bytes more, y1/") {
		t.Errorf("warnings: %q", r.Warnings)
	}
}

// A word is blamed as far as its widening helps, and none where the network as given breaks the
// tolerance itself.
func TestBlameInWords(t *testing.T) {
	row := func(reach, given float64) Loss {
		return Loss{RowName: RowName{"y", Scope{"all", ""}, "rmse"}, Judged: true, Tolerance: 2,
			MayReach: reach, FloatMayReach: given}
	}
	step := &WidthStep{What: "state", Bits: 32, Saved: -4}
	const all = "y/all/rmse may reach "
	const with, here = "which costs 4 bytes more, " + all, " on the selection recordings"
	for want, b := range map[string]Blame{
		"the state are to blame: with int32 for them, " + with + "1.5 instead of 2.5" + here +
			", tolerance 2": {row(2.5, 1), step, row(1.5, 1)},
		"the state are to blame in part: with int32 for them, " + with +
			"2.4998 instead of 2.5001" + here + ", tolerance 2": {row(2.5001, 1), step,
			row(2.4998, 1)},
		"a wider word leaves more room: with int32 for the state, " + with +
			"1.2 instead of 1.5" + here + ", tolerance 2": {row(1.5, 1), step, row(1.2, 1)},
		"the words are not to blame: no wider one lessens what " + strings.TrimSpace(all) + here +
			" (2.0001, tolerance 2)": {Row: row(2.0001, 1)},
		"no word is to blame:" + here + " the network as given itself may reach " +
			"2.14 in y/all/rmse, tolerance 2, and the choice 2.3": {
			Row: row(2.3, 2.14)},
	} {
		if got := b.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// With the widest words and a tolerance that the table of tanh alone breaks, no
// word is to blame.
func TestNoWordToBlame(t *testing.T) {
	in := oneFineRow(t)
	in.Job.Tolerances["y0"] = riseOf(1e-9)
	in.Job.Formats = FormatRule{Weights: "int16", State: "int32"}
	chosen := chooseWidths(t, in)
	r := &Result{Inputs: in, Chosen: chosen}
	r.warnWords(NewPlanner(in))
	if len(r.Warnings) != 1 || !strings.HasPrefix(r.Warnings[0], "the words are not to blame: "+
		"no wider one lessens what y0/") {
		t.Errorf("within %v, warnings: %q", chosen.Within, r.Warnings)
	}
}
