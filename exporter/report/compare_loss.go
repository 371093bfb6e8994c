package report

import (
	"cmp"
	"math"
	"slices"

	"kerf/budget"
	"kerf/dataset"
)

// The least change that makes a row better or worse is a tenth of its tolerance: ten of them in the
// same direction use it up. On the demo, whose tolerances are 5 %, int16 instead of int8 weights
// change the rows by up to 0.42 %, three of twelve with an interval that excludes 0 (own
// measurement). A row without a tolerance is taken as if an error might rise by 5 % and a share
// fall by 1 point, which are usual tolerances (common practice, no source).
const (
	leastOfTolerance  = 0.1
	usualErrorRise    = 0.05
	usualDropOfAShare = 0.01
)

// apart says what keeps all errors of two handoffs from being compared; empty where nothing does.
// With sameOutputs the recorded outputs are known to be the same, whatever their files.
func apart(old, fresh *Signoff, sameOutputs bool) string {
	switch a, b := old.Sums, fresh.Sums; {
	case !slices.Equal(old.outputs(), fresh.outputs()):
		return "other outputs"
	case !slices.Equal(old.signoffHashes(), fresh.signoffHashes()) && !sameOutputs:
		return "other sign-off recordings"
	case len(old.Loss) == 0 && len(fresh.Loss) == 0:
		return ""
	case a == nil:
		return "the old sign-off has no sums over sequences"
	case b == nil:
		return "the new sign-off has no sums over sequences"
	case a.LeftOut || b.LeftOut:
		return "sums over so many sequences are left out of sign-offs"
	case !a.isOfSame(b):
		return "other steps of the sign-off recordings"
	}
	return ""
}

// outputs lists the names and units that the accuracy is about, sorted.
func (s *Signoff) outputs() [][2]string {
	var all [][2]string
	for _, l := range s.Loss {
		if l.Metric == dataset.Explained {
			continue // a share: without the unit of the output
		}
		if output := [2]string{l.Output, l.Unit}; !slices.Contains(all, output) {
			all = append(all, output)
		}
	}
	slices.SortFunc(all, func(a, b [2]string) int { return slices.Compare(a[:], b[:]) })
	return all
}

// signoffHashes lists the hashes of the sign-off recordings, whatever their names.
func (s *Signoff) signoffHashes() []string {
	var all []string
	for _, f := range s.Inputs {
		if f.Role == budget.SignoffRole {
			all = append(all, f.SHA256)
		}
	}
	return all
}

// isSameNetwork reports whether the networks as given make the same errors wherever both sign-offs
// have sums.
func isSameNetwork(old, fresh *Signoff) bool {
	if old.Sums == nil || fresh.Sums == nil {
		return false
	}
	for _, a := range old.Sums.Rows {
		for _, b := range fresh.Sums.Rows {
			if a.Output == b.Output && a.Region == b.Region && a.Where == b.Where &&
				a.Metric == b.Metric &&
				slices.Equal(a.Steps, b.Steps) && !slices.EqualFunc(a.Float, b.Float, isNearly) {
				return false
			}
		}
	}
	return true
}

// lossRows are the rows of one name, one for each way in which it is judged.
type lossRows struct{ old, fresh []*LossRow }

// lossChanges compares the rows that either side judges; where neither judges any, those of the
// first metric. An agreement is with each one's own network: where these differ, accuracy stands in
// its place.
func (c *Comparison) lossChanges(old, fresh *Signoff) []LossChange {
	var order []budget.RowName
	byName := map[budget.RowName]*lossRows{}
	at := func(l *LossRow) *lossRows {
		if byName[l.RowName] == nil {
			byName[l.RowName] = &lossRows{}
			order = append(order, l.RowName)
		}
		return byName[l.RowName]
	}
	for i := range fresh.Loss {
		rows := at(&fresh.Loss[i])
		rows.fresh = append(rows.fresh, &fresh.Loss[i])
	}
	for i := range old.Loss {
		rows := at(&old.Loss[i])
		rows.old = append(rows.old, &old.Loss[i])
	}
	isJudged := func(p budget.RowName) bool { return byName[p] != nil && byName[p].isJudged() }
	isWanted := isJudged
	switch {
	case !slices.ContainsFunc(order, isJudged):
		isWanted = func(p budget.RowName) bool { return p.Metric == order[0].Metric }
	case c.Why == "" && !isSameNetwork(old, fresh):
		isWanted = func(p budget.RowName) bool {
			agreement := p
			agreement.Metric = dataset.Agreement
			return p.Metric != agreement.Metric && isJudged(p) ||
				p.Metric == dataset.Accuracy && isJudged(agreement)
		}
	}
	changes := []LossChange{}
	for _, p := range order {
		if !isWanted(p) {
			continue
		}
		for _, on := range byName[p].judgedOn() {
			was, now := judgedRow(byName[p].old, on), judgedRow(byName[p].fresh, on)
			changes = append(changes, c.lossChange(old, fresh, was, now))
		}
	}
	return changes
}

// isJudged reports whether either side judges a row.
func (r *lossRows) isJudged() bool {
	judged := func(l *LossRow) bool { return l.Verdict != "" }
	return slices.ContainsFunc(r.old, judged) || slices.ContainsFunc(r.fresh, judged)
}

// judgedOn lists the figures that the tolerances of the rows are on; one empty text where there is
// no tolerance.
func (r *lossRows) judgedOn() []budget.ToleranceOn {
	var all []budget.ToleranceOn
	for _, l := range slices.Concat(r.fresh, r.old) {
		if l.Verdict != "" && !slices.Contains(all, l.ToleranceOn) {
			all = append(all, l.ToleranceOn)
		}
	}
	if all == nil {
		return []budget.ToleranceOn{""}
	}
	return all
}

// judgedRow returns the row whose tolerance is on the given figure, or one of the same figures as
// if it were not judged; nil where there is none.
func judgedRow(rows []*LossRow, on budget.ToleranceOn) *LossRow {
	for _, l := range rows {
		if l.ToleranceOn == on {
			return l
		}
	}
	if len(rows) == 0 {
		return nil
	}
	unjudged := *rows[0]
	unjudged.Tolerance, unjudged.ToleranceOn, unjudged.Verdict = nil, "", ""
	return &unjudged
}

// lossChange compares two rows about the same; one may be nil.
func (c *Comparison) lossChange(old, fresh *Signoff, was, now *LossRow) LossChange {
	row := now
	if row == nil {
		row = was
	}
	change := LossChange{RowName: row.RowName, Unit: row.Unit, ToleranceOn: row.ToleranceOn}
	if was != nil {
		change.Old, change.OldLow, change.OldHigh = &was.Fixed, was.FixedLow, was.FixedHigh
		change.OldTolerance, change.OldVerdict = was.Tolerance, was.Verdict
		change.ToleranceOn = cmp.Or(change.ToleranceOn, was.ToleranceOn)
	}
	if now != nil {
		change.New, change.NewLow, change.NewHigh = &now.Fixed, now.FixedLow, now.FixedHigh
		change.NewTolerance, change.NewVerdict = now.Tolerance, now.Verdict
	}
	switch {
	case was == nil:
		change.Outcome = OnlyNew
	case now == nil:
		change.Outcome = OnlyOld
	case c.Why != "":
		change.Outcome = NotComparable
	default:
		before, hasBefore := old.Sums.of(was)
		after, hasAfter := fresh.Sums.of(now)
		switch {
		case !hasBefore && was.Verdict == "":
			change.Outcome = OnlyNew // the old job judges nothing of the kind
		case !hasAfter && now.Verdict == "":
			change.Outcome = OnlyOld
		case !hasBefore || !hasAfter:
			change.Outcome, change.Why = NotComparable, "no sums over sequences"
		case before.where != after.where || !slices.Equal(before.fixed.Steps, after.fixed.Steps):
			change.Outcome, change.Why = NotComparable, "other steps"
		default:
			change.compare(was, now, before, after)
		}
	}
	return change
}

// compare sets the outcome of a row whose steps are the same in both.
func (l *LossChange) compare(was, now *LossRow, before, after sumsPair) {
	metric := l.Metric
	change := dataset.CompareSums(before.fixed, after.fixed, metric)
	isEqual := slices.Equal(before.fixed.Parts, after.fixed.Parts)
	hasInterval := !math.IsNaN(change.Low) && !math.IsNaN(change.High)
	l.Change = Finite(change.Value)
	if hasInterval {
		l.ChangeLow, l.ChangeHigh = Finite(change.Low), Finite(change.High)
	}
	isLess := change.Value < 0
	isBetter := isLess != l.isMoreBetter()
	switch {
	case !isEqual && change.Sequences < metric.Fewest():
		l.Outcome, l.Why = NotComparable, Plural(change.Sequences, "sequence")+", too few"
	case !isEqual && !hasInterval:
		l.Outcome, l.Why = NotComparable, "no interval"
	case hasInterval && (change.Low > 0 || change.High < 0) && isNoticeable(was, now, change):
		l.Outcome = Worse
		if isBetter {
			l.Outcome = Better
		}
	case isJudgedAlike(was, now, before, after) && byVerdict(was.Verdict, now.Verdict) != "":
		l.Outcome = byVerdict(was.Verdict, now.Verdict)
	default:
		l.Outcome = Same
	}
}

// isMoreBetter reports whether a larger value of the metric is better.
func (l *LossChange) isMoreBetter() bool {
	return l.Metric.IsShare() || l.Metric == dataset.Explained
}

// isNoticeable reports whether a change is as large as a tenth of the tolerance of either row, or
// of the usual one where neither has any.
func isNoticeable(was, now *LossRow, change dataset.Change) bool {
	isJudged := false
	for _, l := range []*LossRow{was, now} {
		if l.Tolerance == nil {
			continue
		}
		isJudged = true
		size, allowed := math.Abs(change.Value), *l.Tolerance
		switch {
		case l.Metric == dataset.Explained:
			allowed = 1 - *l.Tolerance // what need not be explained
		case l.ToleranceOn == budget.OnFixed && l.Metric != dataset.Bias:
			size = math.Abs(change.New - change.Old)
		}
		if size >= leastOfTolerance*allowed {
			return true
		}
	}
	usual := usualErrorRise
	if now.Metric.IsShare() {
		usual = usualDropOfAShare
	}
	return !isJudged && math.Abs(change.Value) >= leastOfTolerance*usual
}

// isJudgedAlike reports whether the verdicts of two rows are held against the same: the same
// tolerance, on a rise against the same errors of the network as given, of an explained share
// against the same constant.
func isJudgedAlike(was, now *LossRow, before, after sumsPair) bool {
	areSame := func(a, b []float64) bool { return slices.EqualFunc(a, b, isNearly) }
	return isSameValue(was.Tolerance, now.Tolerance) && was.ToleranceOn == now.ToleranceOn &&
		(now.ToleranceOn != budget.OnRise || areSame(before.float.Parts, after.float.Parts)) &&
		areSame(before.fixed.Whole, after.fixed.Whole)
}
