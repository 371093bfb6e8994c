package budget

import (
	"math"
	"slices"
	"strings"
	"testing"

	"kerf/dataset"
)

// examined is a network of two units, one that remembers some steps and one that does not, on eight
// sequences of its own outputs with noise, four of each kind, after they were changed.
func examined(t *testing.T, change func(in *Inputs)) *Examination {
	t.Helper()
	in := handMade(t, [][3]float64{{2, 0, 0}, {0, 2, 0.5}}, []float64{1, -20}, 400, 0.05)
	in.Job.Model.File, in.Job.Features.File, in.Job.Outputs.File = "model", "features", "outputs"
	for i := range in.Float.Features {
		in.Float.Features[i].Line = 2 + i
	}
	sign := *in.Selection
	sign.Sequences = in.Selection.Sequences[4:]
	in.Signoff = &sign
	in.Selection.Sequences = in.Selection.Sequences[:4]
	change(in)
	e, err := NewPlanner(in).Examine(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// ofSignoff changes the sign-off sequences one by one.
func ofSignoff(change func(s *dataset.Sequence)) func(in *Inputs) {
	return func(in *Inputs) {
		for _, s := range in.Signoff.Sequences {
			change(s)
		}
	}
}

// What a breakage is found as: kind, recordings, and what the place or the sentence holds.
func TestExaminationFindsTheCause(t *testing.T) {
	late := func(s *dataset.Sequence) {
		// Two steps late: the outputs of a step are those of two steps before.
		s.X, s.Steps = s.X[4:], s.Steps-2
		s.Y = s.Y[:2*s.Steps]
	}
	backwards := func(s *dataset.Sequence) {
		s.X, s.Y = reversedSteps(s.X, 2), reversedSteps(s.Y, 2)
	}
	for name, c := range map[string]struct {
		change  func(in *Inputs)
		kind    string
		signoff bool
		text    string
	}{
		"nothing": {func(*Inputs) {}, "", false, ""},
		"steps backwards": {ofSignoff(backwards), CauseBackwards, true,
			"the steps of the recordings seem to run backwards"},
		"outputs late": {ofSignoff(late), CauseShift, true, "2 steps too late"},
		"outputs of others": {func(in *Inputs) {
			sequences := in.Signoff.Sequences
			first := sequences[0].Y
			for i := range sequences[1:] {
				sequences[i].Y = sequences[i+1].Y
			}
			sequences[len(sequences)-1].Y = first
		}, CauseForeign, true, "seem to belong to other features"},
		"lines exchanged": {func(in *Inputs) {
			for _, s := range slices.Concat(in.Selection.Sequences, in.Signoff.Sequences) {
				for at := 0; at < len(s.X); at += 2 {
					s.X[at], s.X[at+1] = s.X[at+1], s.X[at]
				}
			}
		}, CauseLines, false, "features lines 2 and 3"},
		"outputs that nothing explains": {func(in *Inputs) {
			for i, s := range slices.Concat(in.Selection.Sequences, in.Signoff.Sequences) {
				for at := range s.Y {
					s.Y[at] = math.Sin(float64(7*i + at*at))
				}
			}
		}, CauseUnexplained, true, "explains nothing of the variance of y"},
		"no numbers": {func(in *Inputs) {
			in.Float.Net.Dense[0].B[0] = 1e300
		}, CauseUnexplained, true,
			"leaves the range of numbers for y0"},
	} {
		e := examined(t, c.change)
		if c.kind == "" {
			if len(e.Causes) > 0 || e.Unlike != "" || e.Tried == 0 {
				t.Errorf("%s: %d tried, %q, %+v", name, e.Tried, e.Unlike, e.Causes)
			}
			continue
		}
		if len(e.Causes) == 0 {
			t.Errorf("%s: no cause; nearest %+v", name, e.Nearest)
			continue
		}
		first := e.Causes[0]
		if first.Kind != c.kind || first.Signoff != c.signoff ||
			!strings.Contains(first.String(), c.text) {
			t.Errorf("%s: %+v: %s", name, first, first.String())
		}
		hasFigures := c.kind != CauseUnexplained && c.kind != CauseForeign
		if hasFigures != !math.IsNaN(first.Given) || hasFigures != !math.IsNaN(first.With) {
			t.Errorf("%s: error %g, read otherwise %g", name, first.Given, first.With)
		}
		var outputs []string
		for _, cause := range e.Causes {
			if c.kind == CauseUnexplained && slices.Contains(outputs, cause.Output) {
				t.Errorf("%s: %s twice", name, cause.Output)
			}
			outputs = append(outputs, cause.Output)
		}
	}
}

// Sign-off recordings with twice the noise have no cause, and are said to be unlike.
func TestUnlikeSignoffIsSaid(t *testing.T) {
	e := examined(t, ofSignoff(func(s *dataset.Sequence) {
		for at := range s.Y {
			s.Y[at] += 0.1 * math.Sin(float64(at*at))
		}
	}))
	if len(e.Causes) > 0 ||
		!strings.Contains(e.Unlike, "times as much on the sign-off recordings") {
		t.Errorf("causes %+v; unlike: %q", e.Causes, e.Unlike)
	}
	r := &Result{Inputs: &Inputs{}, Examination: e}
	r.warnExamination()
	if !slices.Equal(r.Warnings, []string{e.Unlike}) {
		t.Errorf("notes %q", r.Warnings)
	}
}

// Predictions that are turned around as the recordings are have the errors of the given ones, step
// by step.
func TestBackwardsPairsTheSameSteps(t *testing.T) {
	// no memory
	in := handMade(t, [][3]float64{{2, 0, 0}, {0, 2, 0}}, []float64{-20, -20}, 400, 0.05)
	in.Signoff = in.Selection
	for _, s := range in.Selection.Sequences {
		s.Settle = 50
	}
	in.Selection.Memory = 1
	base := NewPlanner(in).floatOnSelection()
	v := in.backwards(in.Selection, base)
	const lastDigits = 1e-6 // the gate keeps e^-20 of the state
	if math.Abs(v.least-1) > lastDigits || math.Abs(v.low-1) > lastDigits ||
		math.Abs(v.high-1) > lastDigits {
		t.Errorf("a network without memory errs %g [%g, %g] times as much backwards", v.least,
			v.low, v.high)
	}
}
