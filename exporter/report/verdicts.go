package report

import (
	"fmt"
	"math"
	"slices"

	"kerf/budget"
)

// verdictRank orders the verdicts on rows from [budget.Fail] up; -1 is none of them.
func verdictRank(v budget.Verdict) int {
	return slices.Index([]budget.Verdict{budget.Fail, budget.NotEnough, budget.NoEstimate,
		budget.Pass}, v)
}

// CheckVerdicts returns an error that names the first verdict or error in the sign-off that does
// not follow from the figures beside it: verdicts from figures, limits and tolerances, errors from
// the sums over sequences, the whole from rows and causes.
func (s *Signoff) CheckVerdicts() error {
	failed, short, unjudged := false, false, false
	count := func(verdict budget.Verdict) {
		failed = failed || verdict == budget.Fail
		short = short || verdict == budget.NotEnough
		unjudged = unjudged || verdict == budget.NoEstimate
	}
	for _, c := range s.Cost {
		var want budget.Verdict
		if c.Limit != nil {
			want = budget.Pass
			switch {
			case c.Kind == budget.NotEstimated && c.Known != nil && *c.Known > *c.Limit &&
				!c.AtLeast:
				want = budget.Fail
			case c.Kind == budget.NotEstimated:
				want = budget.NoEstimate
			case c.Value > *c.Limit && !c.AtLeast, c.Value < *c.Limit && c.AtLeast:
				want = budget.Fail
			}
		}
		if c.Verdict != want {
			return fmt.Errorf("%s/%s has the verdict %q, its figures give %q",
				budget.CostText(c.Target, c.Resource), c.Part, c.Verdict, want)
		}
		count(c.Verdict)
	}
	for _, l := range s.Loss {
		if (l.Tolerance == nil) != (l.Verdict == "") {
			return fmt.Errorf("%s: a verdict without a tolerance, or a tolerance without a "+
				"verdict", l.Text())
		}
		if l.Tolerance != nil {
			again := l.judged()
			if again.Judge(); again.Verdict != l.Verdict || again.WouldDo != l.WouldDo {
				return fmt.Errorf("%s has the verdict %q, its figures give %q", l.Text(),
					l.Verdict, again.Verdict)
			}
		}
		count(l.Verdict)
	}
	if err := s.checkConverters(); err != nil {
		return err
	}
	if err := s.checkSums(); err != nil {
		return err
	}
	for _, x := range s.Explained {
		if e := x.explained(); e.IsLittle() && len(s.Causes) == 0 {
			return fmt.Errorf("the network explains too little of %s, but no cause says so",
				x.Output)
		}
	}
	want := budget.Fits
	switch {
	case failed, len(s.Causes) > 0 && s.Checked == "", !s.isJudged():
		want = budget.DoesNotFit
	case short:
		want = budget.NotEnough
	case unjudged:
		want = budget.NoEstimate
	}
	// Where sign-off sequences are selection recordings too, nothing independent was judged.
	if (want == budget.Fits || want == budget.NoEstimate) && s.Verdict == budget.NotEnough {
		return nil
	}
	if s.Verdict != want {
		return fmt.Errorf("the verdict is %q, its rows and causes give %q", s.Verdict, want)
	}
	return nil
}

// checkReason compares the reason with the one that follows from rows and causes, in the words of
// this kerf.
func (s *Signoff) checkReason() error {
	renewed := *s
	renewed.RenewReason()
	if s.Reason != renewed.Reason {
		return fmt.Errorf("the reason is %q, its rows give %q", s.Reason, renewed.Reason)
	}
	return nil
}

// RenewReason puts the reason into the words of this kerf, as it follows from rows and causes: an
// older kerf had other words. A sign-off from before there were reasons gets none.
func (s *Signoff) RenewReason() {
	if s.Explained != nil {
		s.Reason = s.WhyNot()
	}
}

// explained returns the figures from which a finding against the network as given follows.
func (x *ExplainedRow) explained() budget.Explained {
	return budget.Explained{Scope: x.Scope, Given: number(x.Given),
		High: number(x.GivenHigh)}
}

// judged returns the figures from which the verdict of a row with a tolerance follows.
func (l *LossRow) judged() budget.Loss {
	return budget.Loss{
		RowName: l.RowName, Fixed: l.Fixed, FixedLow: number(l.FixedLow),
		FixedHigh: number(l.FixedHigh),
		Rise:      number(l.Rise), RiseLow: number(l.RiseLow), RiseHigh: number(l.RiseHigh),
		Sequences: l.Sequences, Blocks: l.Blocks, Judged: true,
		Relative:  l.ToleranceOn == budget.OnRise,
		Tolerance: *l.Tolerance,
	}
}

// number is the inverse of [Finite]: NaN for nil.
func number(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}
