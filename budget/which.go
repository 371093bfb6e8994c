package budget

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"kerf/budget/cost"
	"kerf/fault"
	"kerf/targets"
)

// Standing is how a candidate stands on one target.
type Standing struct {
	Target Target
	// the target of the job that clock and limits are those of; empty for a target of the job
	Like     string
	Costs    []Cost
	Tightest Cost   // the limit with the least margin; Limit is NaN if there is none
	Broken   []Cost // totals that break their limit
	Unjudged []Cost // totals whose limit cannot be judged: they have no estimate
	// needed front ends without cycles for the profile: its time is higher than shown
	Untimed []string
}

// Fits reports that no limit is broken and every one is judged, and that the time of everything is
// known.
func (s *Standing) Fits() bool {
	return len(s.Broken) == 0 && len(s.Unjudged) == 0 && len(s.Untimed) == 0
}

// RankTargets puts a candidate on every target of the job, and on every other built-in profile
// with the clock and the limits of the job's first target, and orders them by
// the margin of the tightest limit, the largest first; targets whose front end has no
// cycles come last. What belongs to a part (currents, wait states) is not taken over, nor are the
// limits that need it, nor the compiler and the form of the job's target. The only error is a job
// without a target.
func (in *Inputs) RankTargets(c Candidate) ([]Standing, error) {
	if len(in.Targets) == 0 {
		return nil, &fault.Error{File: in.Job.File, Msg: "the job gives no target",
			Hint: "add a [[target]] with clock and limits; other profiles are then judged by them"}
	}
	var all []Standing
	for _, t := range in.Targets {
		all = append(all, in.standing(c, t, ""))
	}
	like := in.Targets[0]
	for _, name := range targets.Names() {
		if slices.ContainsFunc(in.Targets, func(t Target) bool { return t.Core.Name == name }) {
			continue
		}
		core, err := targets.Load(name)
		if err != nil {
			panic(fmt.Sprintf("budget: %v", err)) // built in
		}
		all = append(all, in.standing(c, like.on(core), like.Name))
	}
	sort.SliceStable(all, func(a, b int) bool {
		if a, b := len(all[a].Untimed) > 0, len(all[b].Untimed) > 0; a != b {
			return b
		}
		return all[a].margin() > all[b].margin()
	})
	return all, nil
}

// on is a target with another core and all that does not belong to the part.
func (t Target) on(core *targets.Profile) Target {
	t.Core, t.Profile, t.ProfileFile, t.Name = core, core.Name, "", core.Name
	t.FlashWait, t.ActiveCurrent, t.SleepCurrent = nil, nil, nil
	t.Energy, t.AverageCurrent, t.BatteryLife = nil, nil, nil
	t.Compiler, t.Flags, t.Code = "", "", ""
	return t
}

// Form is the form in which the candidate is built for the target.
func (s *Standing) Form() cost.Form { return s.Costs[0].Form }

func (in *Inputs) standing(c Candidate, t Target, like string) Standing {
	s := Standing{Target: t, Like: like, Costs: totals(in.targetCosts(c, t)),
		Tightest: Cost{Limit: math.NaN()}}
	for _, row := range s.Costs {
		switch row.Verdict {
		case Fail:
			s.Broken = append(s.Broken, row)
		case NoEstimate:
			s.Unjudged = append(s.Unjudged, row)
		}
		if !math.IsNaN(row.Margin()) && !(s.Tightest.Margin() <= row.Margin()) {
			s.Tightest = row
		}
	}
	needed, _ := in.FrontEnds(c)
	for _, g := range needed {
		if _, ok := g.Cycles[t.Core.Name]; !ok {
			s.Untimed = append(s.Untimed, g.Name)
		}
	}
	return s
}

// margin is that of the tightest limit; without one nothing can be short.
func (s *Standing) margin() float64 {
	if m := s.Tightest.Margin(); !math.IsNaN(m) {
		return m
	}
	return math.Inf(1)
}
