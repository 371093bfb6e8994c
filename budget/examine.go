package budget

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"kerf/dataset"
)

// Examination is what is known of the network as given before anything is cut: how much of its
// outputs it explains, and whether another way to read the job would make it do so much better that
// the job is probably wrong. Tolerances are relative to that network; a network that does not do
// what it was trained for would pass them easily.
type Examination struct {
	Explained []Explained
	Causes    []Cause // that speak against a signature, the most probable first
	// of all that shift no time and make no output worse the one with the least ratio; may be nil
	Nearest *Cause
	Tried   int    // alternatives
	Checked string // reason of the job to let the verdict stand; empty: none
	// where sign-off recordings are unlike the others, and no cause tells why; empty: nowhere
	Unlike string
}

// Forbids reports whether the verdict cannot be that the network fits.
func (e *Examination) Forbids() bool { return e != nil && len(e.Causes) > 0 && e.Checked == "" }

// Cause is one finding of an examination.
type Cause struct {
	Kind    string // one of the constants of this package or of [model.Variant]
	Place   string // where it is: a file, a line, a column
	Says    string // what seems to be wrong, a clause after the place
	Signoff bool   // found on the sign-off recordings, else on the selection recordings
	Output  string // whose error shrinks most
	Unit    string
	// its error: RMSE in its unit, of a classifier the share of wrong steps; NaN without an
	// alternative
	Given float64
	With  float64 // the same with the alternative
	Ratio float64 // With / Given
	Low   float64 // 95 % interval of the ratio
	High  float64
}

// On names the recordings that a cause was found on.
func (c *Cause) On() RecordingSet { return setOf(c.Signoff) }

// String is a cause in a sentence.
func (c *Cause) String() string {
	on := c.On()
	if c.Kind == CauseUnexplained {
		return fmt.Sprintf("%s %s on the %s recordings, and no other reading of the job that "+
			"was tried helps", c.Place, c.Says, on)
	}
	if math.IsNaN(c.Given) {
		return fmt.Sprintf("%s %s", c.Place, c.Says)
	}
	given, with := fmt.Sprintf("%.3g", c.Given), fmt.Sprintf("%.3g", c.With)
	if unit := c.Unit; unit != "" {
		given += " " + unit
	}
	return fmt.Sprintf("%s %s; read so, the error of %s on the %s recordings is %s, as the job "+
		"says it is %s", c.Place, c.Says, c.Output, on, with, given)
}

const (
	// betterRatio is the largest ratio of errors, with the alternative and as given, that speaks
	// for an alternative, and worseRatio the largest for any other output. Both are our choice:
	// what does less harm than a quarter is left to the tolerances.
	betterRatio = 0.8
	worseRatio  = 1.05
	// promising and doubtful are the same for a part of the recordings, where less is certain.
	promising = 0.95
	doubtful  = 1.25
	// alike is the difference of the logarithms of two alternatives below which the one that stands
	// first is the cause: it is the simpler one.
	alike = 0.02
)

const (
	// screeningWork bounds the multiply-accumulates that trying all alternatives on a part of the
	// recordings takes, about half a second on two cores.
	screeningWork = 1e10
	// leastScreened is how many steps alternatives are tried on at least.
	leastScreened = 1500
	// fullWork bounds what the promising ones take on all recordings, at least fewestFull of them.
	fullWork   = 4e10
	fewestFull = 8
	// screenedPerScenario is how many sequences of a scenario the part has at most.
	screenedPerScenario = 4
	// batchTried is how many alternatives are in memory at a time.
	batchTried = 64
)

// Examine judges the network as given, before anything else is judged. It measures what the network
// explains (explained.go), and tries other ways to read the job: those of the weights
// ([model.Network.Variants]), those of the columns as changes of the first layer (alternatives.go),
// those of the outputs on the predictions alone (alternatives_outputs.go and shifts.go).
//
// All are tried on some of the selection recordings in lanes, what looks promising on all. What
// does so there is measured in double precision, and counts where the error of an output falls by a
// fifth, with an interval that excludes none, and no output's error rises by a twentieth. The most
// probable one is a cause, and a cause forbids that the network fits ([Examination.Forbids]). Where
// the network errs more on the sign-off recordings, what may hold for these alone is tried on them
// as well. Work is bounded by multiply-accumulates, not by time. testdata/broken has broken jobs
// and what is found in them.
//
// Examine reads sign-off recordings as well, and chooses nothing. The error is that of ctx.
func (pl *Planner) Examine(ctx context.Context) (*Examination, error) {
	e := &Examination{Checked: string(pl.in.Job.Model.Checked)}
	base := pl.floatOnSelection()
	off := dataset.Measure(pl.in.Float, pl.in.Signoff, pl.in.Regions)
	e.Explained = append(pl.explained(pl.in.Signoff, off), pl.explained(pl.in.Selection, base)...)
	if best := e.mostProbable(ctx, pl, pl.in.Selection, base,
		pl.in.alternatives(pl.in.Selection)); best != nil {
		e.Causes = append(e.Causes, *best.Cause)
	}
	if pl.in.errsMore(base, off) {
		best := e.mostProbable(ctx, pl, pl.in.Signoff, off, pl.in.dataAlternatives())
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if c := pl.foreignOutputs(best, off); c != nil {
			e.Causes = append(e.Causes, *c)
		} else if best != nil && !slices.ContainsFunc(e.Causes, best.isSame) {
			e.Causes = append(e.Causes, *best.Cause)
		}
	}
	if len(e.Causes) == 0 {
		e.Causes = pl.unexplained(e.Explained, base, off)
	}
	if len(e.Causes) == 0 {
		e.Unlike = pl.in.unlikeSignoff(base, off)
	}
	return e, ctx.Err()
}

// allExplained is the share from which on a network has nothing wrong that could matter, though
// another rounding of what it was normalised with may make its error many times smaller: what is
// left is a hundredth of the spread of the output (our choice).
const allExplained = 0.9999

// unlikeRatio is the ratio of errors from which sign-off recordings are called unlike; our choice.
const unlikeRatio = 1.5

// unlikeSignoff names the output of which the network as given errs that much more on the sign-off
// recordings, the worst first; empty if there is none.
func (in *Inputs) unlikeSignoff(selection, signoff *dataset.Score) string {
	text, most := "", unlikeRatio
	for o, output := range in.judged() {
		was, is := in.errorOf(selection, o), in.errorOf(signoff, o)
		if was == 0 || is/was < most {
			continue
		}
		most = is / was
		text = fmt.Sprintf("the network as given errs %.1f times as much on the sign-off "+
			"recordings as on the "+
			"selection recordings (%s %.3g and %.3g), and nothing that kerf tries tells why: "+
			"are they of the "+
			"same kind?", most, strings.TrimSpace(output.Name+" "+output.Unit), is, was)
	}
	return text
}

// withoutFigures is a cause that no alternative takes away.
func (c Cause) withoutFigures() Cause {
	c.Given, c.With, c.Ratio, c.Low, c.High = math.NaN(), math.NaN(), math.NaN(), math.NaN(),
		math.NaN()
	return c
}

// unexplained are causes without an alternative: the network explains too little of an output, or
// gives no numbers. There is one per output at most.
func (pl *Planner) unexplained(shares []Explained, base, off *dataset.Score) []Cause {
	var causes []Cause
	add := func(output string, signoff bool, says string) {
		if !slices.ContainsFunc(causes, func(c Cause) bool { return c.Output == output }) {
			causes = append(causes, Cause{Kind: CauseUnexplained, Place: pl.in.Job.Model.File,
				Says: says, Signoff: signoff, Output: output}.withoutFigures())
		}
	}
	constants := []*dataset.Score{pl.constantOn(pl.in.Signoff), pl.constantOn(pl.in.Selection)}
	for o, output := range pl.in.judged() {
		for i, score := range []*dataset.Score{off, base} {
			switch e := pl.in.errorOf(score, o); {
			case leavesRange(e):
				add(output.Name, i == 0, "leaves the range of numbers for "+output.Name)
			case e > 0 && pl.in.errorOf(constants[i], o) == 0:
				add(output.Name, i == 0, "errs on "+output.Name+", which stands still")
			}
		}
	}
	for _, x := range shares {
		switch {
		case x.IsLittle() && x.Given < 0:
			add(x.Output, x.Signoff, "explains nothing of "+pl.in.whatIsExplained(x.Output))
		case x.IsLittle():
			add(x.Output, x.Signoff,
				fmt.Sprintf("explains %.0f %% of %s", 100*x.Given, pl.in.whatIsExplained(x.Output)))
		}
	}
	return causes
}

// explainedBy adds what the integer network explains on the sign-off recordings.
func (e *Examination) explainedBy(pl *Planner, fixed *dataset.Score) {
	constant := pl.constantOn(pl.in.Signoff)
	for i := range e.Explained {
		x := &e.Explained[i]
		if !x.Signoff {
			continue
		}
		for o, output := range pl.in.judged() {
			for _, p := range pl.in.places(pl.in.Signoff, o) {
				if output.Name == x.Output && p.Scope == x.Scope {
					x.Fixed = fixed.Value(constant, p.slice, dataset.Explained)
				}
			}
		}
	}
}

// whatIsExplained is what a share is one of.
func (in *Inputs) whatIsExplained(output string) string {
	if in.Float.Classes {
		return "the errors of the most frequent " + output
	}
	return "the variance of " + output
}

// errsMore reports whether the network as given errs so much more on sign-off recordings that these
// are looked into.
func (in *Inputs) errsMore(selection, signoff *dataset.Score) bool {
	for o := range in.judged() {
		if in.errorOf(signoff, o) > errsMoreRatio*in.errorOf(selection, o) {
			return true
		}
	}
	return false
}

// errsMoreRatio is the ratio of errors from which sign-off recordings are looked into; our choice.
const errsMoreRatio = 1.2

// errorOf is the error of a predictor over all recordings: RMSE, or the share of wrong steps.
func (in *Inputs) errorOf(score *dataset.Score, output int) float64 {
	slice := dataset.Slice{Output: output, Region: -1}
	if in.Float.Classes {
		return 1 - score.Value(score, slice, dataset.Accuracy)
	}
	return score.Value(score, slice, dataset.RMSE)
}

// leftBy is the share of an output that an error leaves unexplained, beside the constant.
func (in *Inputs) leftBy(e float64, constant *dataset.Score, output int) float64 {
	left := e / in.errorOf(constant, output)
	if in.Float.Classes {
		return left
	}
	return float64(left * left)
}

// errorRatio compares the errors of two predictors of one output, with the 95 % interval.
func (in *Inputs) errorRatio(base, other *dataset.Score, output int,
	compare func(base, other *dataset.Score, slice dataset.Slice,
		metric dataset.Metric) dataset.Comparison) (ratio, low, high float64) {
	c := compare(base, other, dataset.Slice{Output: output, Region: -1}, dataset.Explained)
	left := func(taken float64) float64 {
		if in.Float.Classes {
			return 1 - taken
		}
		return math.Sqrt(math.Max(0, 1-taken))
	}
	return left(c.Other), left(c.OtherHigh), left(c.OtherLow)
}

// compared is how an alternative compares over all outputs.
type compared struct {
	least, most float64 // ratios of errors
	output      int     // of the least
	sum         float64 // of their logarithms
	high        float64 // upper end of the interval of the least
	low         float64
}

func (in *Inputs) compareAll(base, other *dataset.Score,
	compare func(base, other *dataset.Score, slice dataset.Slice,
		metric dataset.Metric) dataset.Comparison) compared {
	c := compared{least: math.Inf(1)}
	for o := range in.judged() {
		ratio, low, high := in.errorRatio(base, other, o, compare)
		switch before, after := leavesRange(in.errorOf(base, o)),
			leavesRange(in.errorOf(other, o)); {
		case before && !after:
			ratio, low, high = 0, 0, 0
		case after && !before:
			ratio, low, high = math.Inf(1), math.Inf(1), math.Inf(1)
		case math.IsNaN(ratio):
			ratio, low, high = 1, 1, 1 // neither errs
		}
		if ratio < c.least {
			c.least, c.output, c.low, c.high = ratio, o, low, high
		}
		c.most = max(c.most, ratio)
		c.sum += math.Log(max(ratio, math.SmallestNonzeroFloat64))
	}
	return c
}

// leavesRange reports whether an error is none of a number that single precision holds.
func leavesRange(e float64) bool { return !(e <= math.MaxFloat32) }

// helps reports whether an alternative speaks against the job.
func (c compared) helps() bool {
	return c.least <= betterRatio && c.high < 1 && c.most <= worseRatio
}

// view is the job read in another way, and what that makes of the errors.
type view struct {
	*Cause
	compared
	see func() (*dataset.Recordings, [][]float64) // recordings and predictions, so read
}

// views read the job in other ways and measure the promising ones on all recordings: those of
// the network and its features that are given, and all of the outputs.
func (pl *Planner) views(ctx context.Context, rec *dataset.Recordings, base *dataset.Score,
	all []alternative) ([]view, int) {
	ofOutputs := pl.outputViews(ctx, rec)
	return append(pl.promisingViews(ctx, rec, base, all), ofOutputs...),
		len(all) + len(ofOutputs)
}

// promisingViews tries alternatives on a part of the recordings and returns those that are
// promising there, as they are on all recordings, in their order; none when ctx ends.
func (pl *Planner) promisingViews(ctx context.Context, rec *dataset.Recordings, base *dataset.Score,
	all []alternative) []view {
	type candidate struct {
		alternative
		index int
		sum   float64
	}
	in := pl.in
	weights := float64(in.Float.Net.Parameters())
	screen := screened(rec, int(max(leastScreened, screeningWork/(weights*float64(len(all))))))
	prepared := dataset.Prepare(in.Float, screen, nil)
	partBase := prepared.Score(in.Float)
	var promisingOnes []candidate
	for first := 0; first < len(all); first += batchTried {
		batch := all[first:min(first+batchTried, len(all))]
		nets := make([]*dataset.Float, len(batch))
		for i, a := range batch {
			nets[i] = a.net()
		}
		scores, err := prepared.ScoreAll(ctx, nets)
		if err != nil {
			return nil
		}
		for i, score := range scores {
			if c := in.compareAll(partBase, score, dataset.CompareRoughly); c.least < promising &&
				c.most < doubtful {
				promisingOnes = append(promisingOnes, candidate{batch[i], first + i, c.sum})
			}
		}
	}
	slices.SortStableFunc(promisingOnes, func(a, b candidate) int {
		return cmp.Compare(a.sum, b.sum)
	})
	most := int(max(fewestFull, fullWork/(weights*float64(rec.Steps()))))
	promisingOnes = promisingOnes[:min(most, len(promisingOnes))]
	slices.SortFunc(promisingOnes, func(a, b candidate) int { return a.index - b.index })
	// On all recordings, first in lanes: most look worse there.
	if rec == pl.sampled {
		prepared = pl.laidOut()
	} else {
		prepared = dataset.Prepare(in.Float, rec, in.Regions)
	}
	nets := make([]*dataset.Float, len(promisingOnes))
	for i, p := range promisingOnes {
		nets[i] = p.net()
	}
	scores, err := prepared.ScoreAll(ctx, nets)
	if err != nil {
		return nil
	}
	var left []candidate
	nearest, least := -1, math.Inf(1)
	for i, score := range scores {
		c := in.compareAll(base, score, dataset.CompareRoughly)
		if c.most <= worseRatio && c.least < least {
			nearest, least = i, c.least
		}
		if c.least < promising && c.most < doubtful {
			left = append(left, promisingOnes[i])
		}
	}
	if len(left) == 0 && nearest >= 0 {
		left = promisingOnes[nearest : nearest+1] // so that the examination can name it
	}
	promisingOnes = left
	var measured []view
	for _, p := range promisingOnes {
		if ctx.Err() != nil {
			return nil
		}
		score := dataset.Measure(p.net(), rec, nil)
		c := in.compareAll(base, score, dataset.Compare)
		measured = append(measured,
			view{in.cause(p.kind, p.place, p.says, rec, base, score, c), c,
				func() (*dataset.Recordings, [][]float64) {
					return rec, predictions(rec, p.net())
				}})
	}
	return measured
}

// mostProbable is the view of recordings that helps most, if any does. Of those that help alike it
// is the one that stands first: lists begin with what says most exactly what is wrong. A view with
// which the network explains as little as nothing is no cause.
func (e *Examination) mostProbable(ctx context.Context, pl *Planner, rec *dataset.Recordings,
	base *dataset.Score,
	alternatives []alternative) *view {
	all, tried := pl.views(ctx, rec, base, alternatives)
	e.Tried += tried
	constant := pl.constantOn(rec)
	isCause := func(v *view) bool {
		return v.helps() && 1-pl.in.leftBy(v.With, constant, v.output) >= leastExplained &&
			1-pl.in.leftBy(v.Given, constant, v.output) < allExplained
	}
	least := math.Inf(1)
	for i := range all {
		v := &all[i]
		// Earlier or later outputs are nearer to those of many a right network.
		isOfTime := v.Kind == CauseShift || v.Kind == CauseBackwards
		if v.most <= worseRatio && !isOfTime && (e.Nearest == nil || v.least < e.Nearest.Ratio) {
			e.Nearest = v.Cause
		}
		if isCause(v) {
			least = min(least, v.sum)
		}
	}
	for i := range all {
		if v := &all[i]; isCause(v) && v.sum <= least+alike {
			return v
		}
	}
	return nil
}

// isSame reports whether two causes are about the same.
func (c *Cause) isSame(d Cause) bool { return c.Kind == d.Kind && c.Place == d.Place }

// cause states what an alternative gives.
func (in *Inputs) cause(kind, place, says string, rec *dataset.Recordings, base,
	score *dataset.Score, c compared) *Cause {
	output := in.judged()[c.output]
	return &Cause{
		Kind: kind, Place: place, Says: says, Signoff: rec == in.Signoff, Output: output.Name,
		Unit:  output.Unit,
		Given: in.errorOf(base, c.output), With: in.errorOf(score, c.output), Ratio: c.least,
		Low: c.low, High: c.high,
	}
}

// screened is a part of recordings with about so many steps: the first sequences of every scenario,
// shortened where they are long.
func screened(rec *dataset.Recordings, steps int) *dataset.Recordings {
	screen := *rec
	screen.Sequences, screen.Memory = nil, 0
	taken := map[string]int{}
	for _, s := range rec.Sequences {
		if taken[s.Scenario] < screenedPerScenario {
			taken[s.Scenario]++
			screen.Sequences = append(screen.Sequences, s)
		}
	}
	each := max(1, steps/len(screen.Sequences))
	for i, s := range screen.Sequences {
		if length := s.Settle + each; length < s.Steps {
			screen.Sequences[i] = s.Part(0, length)
			screen.Sequences[i].Settle = s.Settle
		}
	}
	return &screen
}

// warnWhereNothing names the scenarios and regions of the sign-off recordings in which the network
// as given errs more than the constant would. That decides nothing: an output may stand near the
// constant there.
func (r *Result) warnWhereNothing() {
	var places []string
	for _, x := range r.Examination.Explained {
		if x.Signoff && !x.IsEverywhere() && x.Given < 0 {
			row := RowName{Output: x.Output, Scope: x.Scope}
			places = append(places, row.PlaceText())
		}
	}
	if len(places) > 0 {
		r.Warnings = append(r.Warnings, "the network as given errs more than the mean of the "+
			"selection recordings would: "+
			strings.Join(places, "; "))
	}
}

// warnExamination puts what was found into the notes.
func (r *Result) warnExamination() {
	e := r.Examination
	if len(e.Causes) == 0 {
		if e.Unlike != "" {
			r.Warnings = append(r.Warnings, e.Unlike)
		}
		r.warnWhereNothing()
		return
	}
	var all []string
	for _, c := range e.Causes {
		all = append(all, c.String())
	}
	text := strings.Join(all, "; ")
	if e.Checked != "" {
		r.Warnings = append(r.Warnings, fmt.Sprintf("the job lets the verdict stand (checked: "+
			"%s) although %s", e.Checked, text))
		return
	}
	r.Warnings = append(r.Warnings, text+`; if that is not so, [model] checked = "the reason" `+
		`lets the verdict stand`)
}
