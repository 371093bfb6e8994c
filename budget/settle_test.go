package budget

import (
	"math"
	"strings"
	"testing"
)

func TestSettleIsReadAndRefused(t *testing.T) {
	for _, c := range []struct {
		settle string
		steps  int // of a sequence of the city job, whose t counts days from 0; -1: refused
		says   string
	}{
		{`"7 steps"`, 7, ""},
		{`"1 step"`, 1, ""},
		{`"0 steps"`, -1, "no number of steps"},
		{`"many steps"`, -1, "no number of steps"},
		{`"5"`, -1, "neither steps nor a time"},
		{`"-5 s"`, -1, "neither steps nor a time"},
		{`5`, -1, "the unit is missing"},
		{`"2.5 s"`, -1, "t of the recordings grows by 1 from step to step, and the targets have " +
			"a period of 0.1 s"},
		{`"100000 steps"`, -1, "settle leaves no step of the recordings"},
	} {
		in, err := city(t, "epochs = 1",
			[3]string{"job.toml", "[features]", "settle = " + c.settle + "\n[features]"})
		switch {
		case c.steps < 0 && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%s: %v, want %q in it", c.settle, err, c.says)
		case c.steps >= 0 && err != nil:
			t.Errorf("%s: %v", c.settle, err)
		case c.steps >= 0:
			for _, s := range in.Signoff.Sequences {
				if s.Settle != c.steps {
					t.Errorf("%s: %d steps of sequence %s settle", c.settle, s.Settle, s.Name)
				}
			}
		}
	}
	// In seconds, with targets of the recorded period: 2.5 periods are three steps.
	in, err := city(t, "epochs = 1", [3]string{"job.toml", `period = "100 ms"`, `period = "1 s"`},
		[3]string{"job.toml", "[features]", "settle = \"2.5 s\"\n[features]"})
	if err != nil {
		t.Fatal(err)
	}
	if s := in.Signoff.Sequences[0]; s.Settle != 3 {
		t.Errorf("%d steps settle, want 3", s.Settle)
	}
	_, err = city(t, "epochs = 1", [3]string{"job.toml", `period = "100 ms"`, `period = "1 s"`},
		[3]string{"job.toml", "[features]", "settle = \"1 us\"\n[features]"})
	if err == nil || !strings.Contains(err.Error(), "settle is less than a step, which takes 1 s") {
		t.Errorf("a microsecond: %v", err)
	}
}

// A network whose memory starts far off: with the first steps the error rises less than without.
// The note says it with both figures; with settle every figure is that of the later steps, and what
// is left out is shown.
func TestTheStartIsSaidOrLeftOut(t *testing.T) {
	in := handMade(t, [][3]float64{{1, 0, 0}, {0, 1, 0}}, []float64{0, 0}, 200, 0.2)
	in.Signoff = in.Selection
	for _, s := range in.Signoff.Sequences {
		for step := range 16 { // the reference starts 30 units off, whatever the network
			s.Y[2*step] += 30
		}
	}
	pl, cut := NewPlanner(in), CutByHand(in.start(in.widest().Formats))
	chosen, err := pl.Choose(t.Context(), cut)
	if err != nil {
		t.Fatal(err)
	}
	r := &Result{Inputs: in, Cut: cut, Chosen: chosen}
	s := r.scoresOn(in.Signoff)
	r.Loss = pl.lossRows(in.Signoff, s, false)
	// As if the later steps had got much worse: a cut network would.
	// half a unit
	chosen.Fixed.Dense[0].Weights.Bias[0] += 1 << (chosen.Fixed.OutputFraction(0) - 1)
	r.Loss = pl.lossRows(in.Signoff, r.scoresOn(in.Signoff), false)
	// It passes with the start and fails ever after: that is a cause.
	r.Examination = &Examination{}
	note := r.judgeStart(pl)
	if len(r.Examination.Causes) != 1 || note != "" {
		t.Fatalf("causes %+v, note %q", r.Examination.Causes, note)
	}
	says := r.Examination.Causes[0].String()
	if !strings.HasPrefix(says, "the first 16 steps of the sign-off sequences behave unlike the "+
		"rest and decide") ||
		!strings.Contains(says, `settle = "16 steps"`) {
		t.Fatal(says)
	}
	in.Job.Recordings.Settle = &SettleRule{Steps: 16}
	if err := (loader{in}).applySettle(); err != nil {
		t.Fatal(err)
	}
	start := r.start()
	if math.Abs(start.Share-0.08) > 1e-9 || len(start.Loss) != 2 || start.Loss[0].Float < 29 ||
		start.Loss[1].Float > 1 {
		t.Errorf("left out: %+v", start)
	}
	with := r.Loss[0]
	without := pl.lossRows(in.Signoff, r.scoresOn(in.Signoff), false)[0]
	if !(without.Float < 1 && with.Float > 5 && without.Rise > 10*with.Rise) {
		t.Errorf("error %g, rise %g with the start; %g, %g without", with.Float, with.Rise,
			without.Float, without.Rise)
	}
}
