package budget

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"kerf/dataset"
	"kerf/quant"
	"kerf/targets"
)

// SettleRule is how much of the start of every sequence no judgement counts: a number of steps, or
// a time.
type SettleRule struct {
	Steps   int     // 0 where a time is given
	Seconds float64 // in the unit of the column t, which is seconds
}

const settleHint = `for example settle = "5 s" or settle = "50 steps"`

// UnmarshalTOML reads "50 steps" or a time such as "5 s".
func (r *SettleRule) UnmarshalTOML(v any) error {
	text, ok := v.(string)
	if !ok {
		return targets.BadValue(fmt.Sprint(v), "the unit is missing", settleHint)
	}
	if number, isSteps := strings.CutSuffix(strings.TrimSuffix(strings.TrimSpace(text), "s"),
		"step"); isSteps {
		steps, err := strconv.Atoi(strings.TrimSpace(number))
		if err != nil || steps < 1 {
			return targets.BadValue(text, "no number of steps", settleHint)
		}
		r.Steps = steps
		return nil
	}
	seconds, err := targets.ParseSeconds(text)
	if err != nil || !(seconds > 0) {
		return targets.BadValue(text, "neither steps nor a time", settleHint)
	}
	r.Seconds = seconds
	return nil
}

// String is the rule as a job states it.
func (r *SettleRule) String() string {
	if r.Steps > 0 {
		return steps(r.Steps)
	}
	return fmt.Sprintf("%g s", r.Seconds)
}

// steps counts steps in words.
func steps(n int) string {
	if n == 1 {
		return "1 step"
	}
	return fmt.Sprintf("%d steps", n)
}

// samePeriod is how far, as a share, the time between two recorded steps may be from the period of
// the targets before a time in seconds is refused: t is then hardly in seconds.
const samePeriod = 0.01

// applySettle leaves the start of every selection and sign-off sequence out of all that is
// measured.
func (in loader) applySettle() error {
	rule := in.Job.Recordings.Settle
	if rule == nil {
		return nil
	}
	for _, rec := range []*dataset.Recordings{in.Selection, in.Signoff} {
		between := stepTime(rec)
		if period := in.Period(); rule.Seconds > 0 && period > 0 && math.Abs(between-period) >
			samePeriod*period {
			return in.Job.at(`write settle in steps, such as "50 steps", or t in seconds`,
				fmt.Sprintf("settle is in seconds, but t of the recordings grows by %.4g from "+
					"step to step, and the targets have a period of %.4g s", between, period),
				"recordings", "settle")
		}
		count := rule.Steps
		if rule.Seconds > 0 {
			// 5 s of 0.1 s each are 50 steps, whatever the last digit of their quotient
			const slack = 1e-9
			count = int(math.Ceil(rule.Seconds/between - slack))
		}
		if rule.Seconds > 0 && rule.Seconds < (1-samePeriod)*between {
			return in.Job.at(settleHint,
				fmt.Sprintf("settle is less than a step, which takes %.4g s",
					between), "recordings", "settle")
		}
		for _, s := range rec.Sequences {
			s.Settle = min(count, s.Steps)
		}
		if rec.Judged() == 0 {
			return in.Job.at(settleHint, fmt.Sprintf("settle leaves no step of the recordings: "+
				"the longest sequence has %d", longest(rec)), "recordings", "settle")
		}
	}
	if share := leftOut(in.Signoff); share > largestStart {
		in.Warnings = append(in.Warnings, fmt.Sprintf("settle leaves %.0f %% of the steps of "+
			"the sign-off recordings out of every judgement", 100*share))
	}
	return nil
}

// largestStart is the share of steps that settle may leave out without a note.
const largestStart = 0.2

// stepTime is the mean time between two steps of all sequences, in the unit of t; 1 where every
// sequence has one step.
func stepTime(rec *dataset.Recordings) float64 {
	duration, steps := 0.0, 0
	for _, s := range rec.Sequences {
		duration += s.Duration
		steps += s.Steps - 1
	}
	if steps == 0 {
		return 1
	}
	return duration / float64(steps)
}

func longest(rec *dataset.Recordings) int {
	most := 0
	for _, s := range rec.Sequences {
		most = max(most, s.Steps)
	}
	return most
}

// leftOut is the share of the steps that no judgement counts.
func leftOut(rec *dataset.Recordings) float64 {
	return 1 - float64(rec.Judged())/float64(rec.Steps())
}

// Start is the part of the sign-off recordings that no judgement counts.
type Start struct {
	Rule  string // as the job states it
	Share float64
	Loss  []Loss // of the first metric, one per output, on these steps alone
}

// start measures what settle leaves out; nil where it leaves nothing.
func (r *Result) start() *Start {
	in := r.Inputs
	rule := in.Job.Recordings.Settle
	if rule == nil {
		return nil
	}
	rec := *in.Signoff
	rec.Sequences = nil
	for _, s := range in.Signoff.Sequences {
		if s.Settle == 0 {
			continue
		}
		rec.Sequences = append(rec.Sequences, s.Part(0, s.Settle))
	}
	start := &Start{Rule: rule.String(), Share: leftOut(in.Signoff)}
	s := r.scoresOn(&rec)
	for o, output := range in.judged() {
		everywhere := in.places(&rec, o)[0]
		start.Loss = append(start.Loss,
			in.lossRow(output, everywhere, dataset.Metrics(in.Float.Classes)[0], s))
	}
	return start
}

// settledShare is the share of a tolerance below which a difference counts as none: an order of
// magnitude less than what may be lost (our choice).
const settledShare = 0.1

// settledBounds are the largest differences of each output that count as none: a tenth of its
// tightest tolerance in its unit, infinite where it has none that says so. What a rise is relative
// to is the error of the network as given in the row that it is of.
func (r *Result) settledBounds() (bounds []float64, any bool) {
	in := r.Inputs
	for _, output := range in.judged() {
		bound := math.Inf(1)
		for _, l := range r.Loss {
			if l.Output != output.Name || !l.Judged || l.Metric == dataset.Explained ||
				in.Float.Classes {
				continue
			}
			if l.Relative {
				bound = min(bound, l.Tolerance*l.Float)
			} else {
				bound = min(bound, l.Tolerance)
			}
		}
		bounds = append(bounds, settledShare*bound)
		any = any || !math.IsInf(bound, 1)
	}
	return bounds, any || in.Float.Classes && in.JudgesLoss()
}

// settling finds out how soon the chosen network forgets the state that it began with; nil where no
// tolerance says what a difference is.
func (r *Result) settling() *quant.Settling {
	bounds, any := r.settledBounds()
	if !any {
		return nil
	}
	s := r.Chosen.Fixed.Settle(r.Inputs.Signoff, bounds)
	return &s
}

// decidingShare is the share of a tolerance by which a row must move without the first steps before
// they are said to decide, where its verdict stays (our choice).
const decidingShare = 0.5

// startEffect is what the first steps do to the row that they move most.
type startEffect struct {
	steps         int
	with, without Loss
}

// String is the effect in a clause.
func (e *startEffect) String() string {
	value, _ := e.with.JudgedValue()
	later, _ := e.without.JudgedValue()
	if e.with.Verdict == e.without.Verdict {
		return fmt.Sprintf("behave unlike the rest: %s is %s with them and %s without (tolerance "+
			"%s, %s either way); [recordings] settle = \"%s\" leaves them out of every judgement",
			e.with.figure(), e.with.show(value, 3), e.without.show(later, 3),
			e.with.show(e.with.Allowed(), 3), e.with.Verdict, steps(e.steps))
	}
	return fmt.Sprintf("behave unlike the rest and decide: %s is %s with them (tolerance %s, %s), "+
		"%s without (%s); [recordings] settle = \"%s\" leaves them out of every judgement",
		e.with.figure(), e.with.show(value, 3), e.with.show(e.with.Allowed(), 3), e.with.Verdict,
		e.without.show(later, 3), e.without.Verdict, steps(e.steps))
}

// startEffect finds out where the first steps decide: where their errors are unlike those of later
// steps, and a judged row has another verdict without them, or moves by half of its tolerance. It
// is nil where they do not, or the job leaves a start out.
func (r *Result) startEffect(pl *Planner) *startEffect {
	in := r.Inputs
	if in.Job.Recordings.Settle != nil || !in.JudgesLoss() {
		return nil
	}
	first := 0
	for _, p := range []dataset.Predictor{in.Float, r.Chosen.Fixed} {
		for _, squares := range squaredErrors(p, in.Signoff) {
			first = max(first, dataset.UnlikeStart(squares))
		}
	}
	if first == 0 {
		return nil
	}
	rest := *in.Signoff
	rest.Sequences = nil
	for _, s := range in.Signoff.Sequences {
		later := *s
		later.Settle = min(first, s.Steps)
		rest.Sequences = append(rest.Sequences, &later)
	}
	var most *startEffect
	// a row that passes with the start alone ranks before another changed verdict
	mostRank, mostMoved := 0, 0.0
	for _, later := range pl.lossRows(&rest, r.scoresOn(&rest), true) {
		at := slices.IndexFunc(r.Loss, later.sameRow)
		if at < 0 {
			continue
		}
		row := r.Loss[at]
		before, _ := row.JudgedValue()
		after, _ := later.JudgedValue()
		moved := math.Abs(after-before) / math.Max(row.Allowed(), math.SmallestNonzeroFloat64)
		e := &startEffect{first, row, later}
		isChanged := later.Verdict != row.Verdict
		if math.IsNaN(moved) || moved < decidingShare && !isChanged {
			continue
		}
		rank := 0
		if e.signs() {
			rank = 2
		} else if isChanged {
			rank = 1
		}
		if most == nil || cmp.Or(cmp.Compare(rank, mostRank), cmp.Compare(moved, mostMoved)) > 0 {
			most, mostRank, mostMoved = e, rank, moved
		}
	}
	return most
}

// signs reports whether a row passes with the first steps and fails without.
func (e *startEffect) signs() bool { return e.with.Verdict == Pass && e.without.Verdict == Fail }

// judgeStart notes where the first steps decide. A row that passes with them and fails on all later
// steps is a cause: the start hides what the network does ever after. Where
// they decide and sign nothing, judgeStart returns that as a note.
func (r *Result) judgeStart(pl *Planner) (note string) {
	e := r.startEffect(pl)
	if e == nil {
		return ""
	}
	which := fmt.Sprintf("the first %s of the sign-off sequences", steps(e.steps))
	if !e.signs() {
		return which + " " + e.String()
	}
	r.Examination.Causes = append(r.Examination.Causes, Cause{Kind: CauseStart, Place: which,
		Says: e.String(), Signoff: true, Output: e.with.Output, Unit: e.with.Unit}.withoutFigures())
	return ""
}

// squaredErrors are those of every output [outputs][sequences][steps]; of a classifier 1 where the
// class is wrong.
func squaredErrors(p dataset.Predictor, rec *dataset.Recordings) [][][]float64 {
	outputs := rec.Outputs
	if rec.Classes {
		outputs = 1
	}
	all := make([][][]float64, outputs)
	for o := range all {
		all[o] = make([][]float64, len(rec.Sequences))
	}
	dataset.EachPrediction(p, rec, func(i int, s *dataset.Sequence, predicted []float64) {
		for o := range all {
			all[o][i] = make([]float64, s.Steps)
		}
		for step := range s.Steps {
			y, got := s.Y[step*rec.Outputs:(step+1)*rec.Outputs],
				predicted[step*rec.Outputs:(step+1)*rec.Outputs]
			if rec.Classes {
				if dataset.Class(y) != dataset.Class(got) {
					all[0][i][step] = 1
				}
				continue
			}
			for o := range y {
				e := got[o] - y[o]
				all[o][i][step] = float64(e * e)
			}
		}
	})
	return all
}
