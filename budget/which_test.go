package budget

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/fault"
	"kerf/targets"
)

// cityChoice is the whole network of the open data set, with int8 weights.
func cityChoice(t *testing.T) (*Inputs, *Cut, *Chosen) {
	t.Helper()
	in, err := Load(filepath.Join("..", "testdata", "cityweather", "job.toml"))
	if err != nil {
		t.Fatal(err)
	}
	in.Job.Formats = FormatRule{Weights: "int8", State: "int16"}
	pl := NewPlanner(in)
	cut, err := pl.Rank(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	cut.Given = in.Whole(small)
	chosen, err := pl.Choose(t.Context(), cut)
	if err != nil {
		t.Fatal(err)
	}
	return in, cut, chosen
}

func TestRankTargets(t *testing.T) {
	in, _, chosen := cityChoice(t)
	standings, err := in.RankTargets(chosen.Candidate)
	if err != nil {
		t.Fatal(err)
	}
	if len(standings) != len(targets.Names()) {
		t.Errorf("%d of %d profiles are ranked", len(standings), len(targets.Names()))
	}
	for i, s := range standings {
		own := slices.Contains([]string{"cortex-m4f", "cortex-m0plus"}, s.Target.Name)
		if own != (s.Like == "") || (!own && (s.Like != "cortex-m4f" || s.Target.Clock != 64e6)) {
			t.Errorf("%s has limits as %q and %g Hz", s.Target.Name, s.Like, s.Target.Clock)
		}
		least := s.Tightest.Margin()
		for _, c := range s.Costs {
			if c.Margin() < least {
				t.Errorf("%s: %s has margin %g, the tightest is %g", s.Target.Name, c.Resource,
					c.Margin(), least)
			}
		}
		if i > 0 && standings[i-1].Tightest.Margin() < least {
			t.Errorf("%s stands behind %s with less margin", s.Target.Name,
				standings[i-1].Target.Name)
		}
	}
	in.Targets = nil
	if _, err := in.RankTargets(chosen.Candidate); err == nil || fault.Hint(err) == "" {
		t.Errorf("without a target: error %v", err)
	}
}

// A target whose front end has no cycles comes last, whatever its margin.
func TestUntimedTargetsComeLast(t *testing.T) {
	flash := Bytes(1 << 20)
	in := inputsFor(t, TargetRule{Clock: 1e6, Flash: &flash})
	standings, err := in.RankTargets(in.Whole(small))
	if err != nil {
		t.Fatal(err)
	}
	if first := standings[0]; first.Target.Name != "cortex-m3" || !first.Fits() {
		t.Errorf("first is %s", first.Target.Name)
	}
	if last := standings[len(standings)-1]; !slices.Equal(last.Untimed, []string{"one", "two"}) ||
		last.Fits() {
		t.Errorf("last is %s, untimed %v", last.Target.Name, last.Untimed)
	}
}

// Every remedy meets its limit, and one that changes the network says what that does to the loss.
func TestRemedies(t *testing.T) {
	in, cut, chosen := cityChoice(t)
	in.Targets = in.Targets[:1]
	target := &in.Targets[0]
	now := totals(in.targetCosts(chosen.Candidate, *target))
	value := func(resource Resource) float64 { return find(t, now, resource, Total).Value }
	target.StepTime = given(Seconds(0.9 * value(StepTime)))
	target.Flash = given(Bytes(0.9 * value(Flash)))
	target.FlashWait = nil
	standing := in.standing(chosen.Candidate, *target, "")
	found, err := NewPlanner(in).Remedies(t.Context(), cut, chosen, []Standing{standing},
		func(int, int) {})
	if err != nil {
		t.Fatal(err)
	}
	knobs := map[string]Remedy{}
	for _, m := range found {
		knobs[string(m.Resource)+" "+m.Knob] = m
		if limit := find(t, now, m.Resource, Total).Limit; m.Value > 0.9*value(m.Resource) {
			t.Errorf("%s: %s gives %g, above the limit (%g before)", m.Resource, m.Change, m.Value,
				limit)
		}
	}
	for _, need := range []string{"step_time clock", "step_time units", "flash units",
		"flash words"} {
		if _, ok := knobs[need]; !ok {
			t.Errorf("no remedy %s in %v", need, found)
		}
	}
	// 64 MHz over 0.9 are 71.1 MHz, rounded up to a tenth.
	if clock := knobs["step_time clock"]; !strings.HasPrefix(clock.Change, "clock 71.2 MHz") ||
		!clock.Within {
		t.Errorf("clock: %+v", clock)
	}
	for _, m := range found {
		if m.Knob == UnitKnob && (!m.Tightest.Judged || m.Tolerance() == "") {
			t.Errorf("what it does to the loss is not said: %+v", m)
		}
	}
}

// With more wait states at a higher clock, the clock goes up further; beyond the
// last range of the profile there is no remedy.
func TestClockRemedyPaysWaitStates(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 10e6})
	candidate := in.Whole(small)
	core := *in.Targets[0].Core
	core.FlashWaits = []targets.FlashWait{{UpTo: 10e6}, {UpTo: 60e6, Fetch: 1}}
	in.Targets[0].Core = &core
	free := find(t, in.Costs(candidate), StepTime, Total).Value
	in.Targets[0].StepTime = given(Seconds(free / 2))
	for _, most := range []Hertz{60e6, 21e6} {
		core.FlashWaits[1].UpTo = most
		r := &remedies{in: in, now: candidate, target: in.Targets[0]}
		r.clock(find(t, in.Costs(candidate), StepTime, Total))
		if most == 21e6 {
			if len(r.found) != 0 {
				t.Errorf("found %+v above the last range", r.found)
			}
			continue
		}
		if len(r.found) != 1 || r.found[0].Value > free/2 {
			t.Fatalf("found %+v", r.found)
		}
		if change := r.found[0].Change; change <= "clock 20 MHz" {
			t.Errorf("%s does not pay for the wait states", change)
		}
	}
}
