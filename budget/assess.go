package budget

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"kerf/budget/cost"
	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
)

// Result is a candidate judged on the sign-off recordings.
type Result struct {
	Inputs      *Inputs
	Cut         *Cut
	Chosen      *Chosen
	Loss        []Loss // tolerances first within each place
	Sums        []Sums // of the judged rows; none: Loss is not of sign-off recordings
	Costs       []Cost
	Before      []Cost // of the whole network in the widest formats that the job allows
	Freed       []Freed
	Frontier    *Frontier
	Trained     []Size // the other networks of the job; none without a search
	Places      []Placement
	Forms       []FormCost
	Measured    []Measurement // none: costs are estimates
	Chain       *Chain        // nil: the job has no samples
	Converters  *Converters   // nil: no narrower ones were compared
	Counts      *quant.Counts
	Blame       *Blame          // nil: no tolerance is broken
	Extremes    *quant.Extremes // of the sign-off recordings; nil: nothing was searched
	Faults      *Faults         // nil: nothing was tried
	Examination *Examination    // of the network as given; nil: nothing was judged
	Start       *Start          // what the job leaves out of every judgement; nil: nothing
	// on the sign-off recordings; nil: no tolerance says what a difference is
	Settling *quant.Settling
	Verdict  Verdict // Fits, DoesNotFit, NotEnough or NoEstimate
	Warnings []string
	ByHand   []string // what the user chose on the command line, option=value
}

// Assess measures the chosen candidate on the sign-off recordings, which no
// choice has seen, and gives every verdict. If a tolerance is broken it finds out,
// on the selection recordings, which word is to blame. The error is that of
// [quant.Quantize], or that of ctx.
func (pl *Planner) Assess(ctx context.Context, cut *Cut, chosen *Chosen) (*Result, error) {
	r := pl.Price(cut, chosen)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	s := r.scoresOn(pl.in.Signoff)
	r.Loss = pl.lossRows(pl.in.Signoff, s, false)
	r.Sums = pl.sums(r.Loss, s)
	r.Chain = pl.chain(chosen, r.Loss)
	var err error
	if r.Converters, err = pl.narrowConverters(ctx, chosen, r.Chain); err != nil {
		return nil, err
	}
	if r.Examination, err = pl.Examine(ctx); err != nil {
		return nil, err
	}
	r.Examination.explainedBy(pl, s.fixed)
	startNote := r.judgeStart(pl)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	r.Counts = chosen.Fixed.Count(pl.in.Signoff)
	if r.Extremes, err = pl.in.extremes(ctx, chosen); err != nil {
		return nil, err
	}
	if r.Faults, err = pl.faults(ctx, chosen.Fixed, r.Loss); err != nil {
		return nil, err
	}
	r.Start, r.Settling = r.start(), r.settling()
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	r.judge()
	if broken := func(l Loss) bool {
		return l.Verdict == Fail
	}; slices.ContainsFunc(r.Loss, broken) && chosen.Wider == nil {
		if err := pl.widen(ctx, chosen); err != nil {
			return nil, err
		}
	}
	r.warn(pl, startNote)
	if len(cut.Points) > 0 {
		// What is learnt of another network changes no verdict, so what is wrong with it is a note.
		if r.Trained, err = pl.Trained(ctx); err != nil && ctx.Err() == nil {
			r.Warnings = append(r.Warnings, "the other networks of the job are not shown: "+
				err.Error())
		}
		r.warnTrained(pl)
	}
	if o := pl.outlook(cut, chosen); o != nil {
		r.Warnings = append(r.Warnings, o.String())
	}
	return r, ctx.Err()
}

// warnTrained names the other networks of the job that are possible and cost less than the choice.
func (r *Result) warnTrained(pl *Planner) {
	choice := pl.priceOf(r.Chosen.Candidate)
	for _, s := range r.Trained {
		if s.Tightest.Judged && s.IsPossible() && s.price.compare(choice) < 0 {
			r.Warnings = append(r.Warnings, fmt.Sprintf("%s, with %d units and nothing cut, costs "+
				"less than the choice and is within every tolerance relative to its own float "+
				"network; %s. As file of [model] it may be cut as well", s.File, s.Units, s.Beside))
		}
	}
}

// float is the network that the integer network was made of.
func (c *Chosen) float() *dataset.Float {
	if c.Candidate.Recovered != nil {
		return c.Candidate.Recovered.Net
	}
	return c.CutNet
}

// extremes looks for the largest differences of a choice, from the network as given and by rounding
// alone. Where nothing was cut or trained, both are one.
func (in *Inputs) extremes(ctx context.Context, c *Chosen) (*quant.Extremes, error) {
	made, given := c.float(), in.Float
	if c.Candidate.Recovered == nil && c.Candidate.isSameCut(in.Whole(c.Candidate.Formats)) {
		given = made
	}
	return c.Fixed.Extremes(ctx, made, given, in.Signoff)
}

// judge gives the verdict on the plan.
func (r *Result) judge() {
	r.Verdict = verdict(r.Loss, r.Costs)
	if r.Inputs.Shared > 0 && (r.Verdict == Fits || r.Verdict == NoEstimate) {
		r.Verdict = NotEnough // nothing independent was judged
	}
	isJudged := slices.ContainsFunc(r.Loss, func(l Loss) bool { return l.Verdict != "" }) ||
		slices.ContainsFunc(r.Costs, func(c Cost) bool { return c.Verdict != "" })
	if !isJudged || r.Examination.Forbids() {
		r.Verdict = DoesNotFit
	}
}

// scoresOn measures every network on the way to the chosen one: that as given on the features as
// recorded, the others on those that a device computes where a sequence has samples.
func (r *Result) scoresOn(rec *dataset.Recordings) scores {
	c := r.Chosen
	sampled := rec.AsSampled()
	measure := func(p dataset.Predictor) *dataset.Score {
		return dataset.Measure(p, sampled, r.Inputs.Regions)
	}
	s := scores{float: dataset.Measure(r.Inputs.Float, rec, r.Inputs.Regions),
		cut: measure(c.CutNet), fixed: measure(c.Fixed)}
	if c.Candidate.Recovered != nil {
		s.recovered = measure(c.Candidate.Recovered.Net)
	}
	return s
}

// fewestJudged is the least number of features and of units of the networks on which the estimates
// of cost were judged (docs/cost.md).
const fewestJudged = 4

// Price gives the cost of a choice and judges only that.
func (pl *Planner) Price(cut *Cut, chosen *Chosen) *Result {
	c := chosen.Candidate
	uncut := pl.in.widest()
	uncut.shifts = c.shifts // those of the same layers, for want of its own
	costs := pl.in.Costs(c)
	r := &Result{Inputs: pl.in, Cut: cut, Chosen: chosen, Costs: costs,
		Before: pl.in.costsLike(uncut, costs), Freed: pl.in.Freed(c), Places: pl.in.Placements(c),
		Forms: pl.in.FormCosts(c)}
	r.Frontier = pl.Frontier(cut, chosen)
	r.Verdict = verdict(nil, r.Costs)
	return r
}

// widest is the whole network in the widest formats that the job allows.
func (in *Inputs) widest() Candidate {
	formats, _ := in.Job.Formats.candidates(in.Float.Net) // checked when the job was read
	return in.Whole(formats[len(formats)-1])
}

// SelectionLoss compares the float, the cut and the fixed-point network on the
// selection recordings, on the rows that have a tolerance. Every sequence is run
// by a fixed-point network that was calibrated without it, and trained without it.
func (pl *Planner) SelectionLoss(chosen *Chosen) []Loss {
	measure := func(p dataset.Predictor) *dataset.Score {
		return dataset.Measure(p, pl.sampled, pl.in.Regions)
	}
	s := scores{float: pl.floatOnSelection(), fixed: chosen.heldOut}
	r := chosen.Candidate.Recovered
	if r != nil {
		s.recovered = pl.in.measured(pl.trained.trainings.predicted(func(k int) *dataset.Float {
			return r.withoutFold[k]
		}))
	}
	if s.cut = s.recovered; r == nil || !r.Scratch {
		s.cut = measure(chosen.CutNet)
	}
	return pl.lossRows(pl.in.Selection, s, true)
}

func verdict(loss []Loss, costs []Cost) Verdict {
	overall := Fits
	for _, l := range loss {
		switch {
		case l.Verdict == Fail:
			return DoesNotFit
		case l.Verdict == NotEnough:
			overall = NotEnough
		}
	}
	for _, c := range costs {
		switch {
		case c.Verdict == Fail:
			return DoesNotFit
		case c.Verdict == NoEstimate && overall == Fits:
			overall = NoEstimate
		}
	}
	return overall
}

// largestArray is the largest object that avr-gcc takes: half of a 16-bit
// address space (own measurement, avr-gcc 5.4: "size of array is too large").
const largestArray = 32767

// warn gathers what a reader of the verdict should know. startNote says where the first steps
// decide, but sign nothing; empty: nowhere.
func (r *Result) warn(pl *Planner, startNote string) {
	in := r.Inputs
	add := func(format string, args ...any) {
		r.Warnings = append(r.Warnings, fmt.Sprintf(format, args...))
	}
	r.warnExamination() // first: the reason of the verdict points there
	r.Warnings = append(r.Warnings, in.Warnings...)
	for _, l := range r.Loss {
		if reason := l.Explain(); reason != "" {
			add("%s", reason)
		}
	}
	r.warnSingle(pl)
	r.warnBlocks()
	if row := r.Cut.Start; row.Judged && row.GivenBreaks() && !math.IsInf(row.FloatMayReach, 1) {
		reach := row.apart(row.FloatMayReach, row.Allowed())
		add("the network as given itself may reach %s on the selection recordings, "+
			"tolerance %s (%s): such a row may get 1 %% worse, no more", reach[0], reach[1],
			row.figure())
	}
	if !r.Chosen.Within && in.JudgesLoss() {
		row := r.Chosen.Tightest()
		add("no network that was brought to fixed point, of %d, leaves a reserve for every "+
			"tolerance on the selection recordings; the one with the least cut and the widest "+
			"words goes to sign-off: %s", r.Chosen.Tried, row.reaches())
	}
	if f := r.Frontier; f.NotRounded > 0 {
		add("candidates that are cheaper than the choice and within every tolerance before "+
			"rounding, but were not rounded: %d (%s)", f.NotRounded, f.Cause)
	}
	if r.Cut.Stopped {
		add("the search ended after %s with %d candidates measured, because the job says so: "+
			"another run may choose another network",
			time.Duration(float64(*in.Job.Search.Time)*float64(time.Second)),
			len(r.Frontier.Candidates))
	}
	shape := in.Shape(r.Chosen.Candidate)
	if columns := cost.WidestRow(shape); columns > cost.FittedColumns && len(in.Targets) > 0 {
		add("the network has rows of %d weights; estimates of code and cycles are fitted to "+
			"networks with %d at most, and may be off by more than docs/cost.md says: kerf "+
			"measure measures them", columns, cost.FittedColumns)
	}
	isTiny := shape.Features < fewestJudged ||
		slices.ContainsFunc(shape.Layers, func(l quant.LayerShape) bool {
			return l.Units < fewestJudged
		})
	if isTiny && len(in.Targets) > 0 {
		add("the network has fewer than %d features or units in a layer: compilers make other "+
			"code of such loops, and estimates of code, stack and cycles may be off by more "+
			"than docs/cost.md says: kerf measure measures them", fewestJudged)
	}
	if startNote != "" {
		add("%s", startNote)
	}
	r.warnReserve()
	r.warnChain()
	r.warnGrids()
	r.warnConverterEnergy()
	r.warnWithoutTolerance()
	r.warnRecovery(pl)
	r.warnWords(pl)
	r.warnOutliers()
	r.warnSaturation()
	if n := r.Counts.Saturated(); n > 0 {
		add("%d gate and cell values of the sign-off recordings saturate inside the network", n)
	}
	r.warnUnits(r.Counts.StalledUnits(), "slow units stand still because a step of their state "+
		"is less than its last place", func(layer int) string {
		if r.Chosen.Candidate.Formats.Layers[layer].StateBits == 16 {
			return `; a 32-bit state moves on: [formats] state = "int32"`
		}
		return ""
	})
	nothing := func(int) string { return "" }
	r.warnUnits(r.Counts.DeadUnits(), "units never move on the sign-off recordings and carry "+
		"nothing", nothing)
	r.warnUnits(r.Counts.SaturatedUnits(), "units stand at an end of their range on nearly all "+
		"sign-off recordings", nothing)
	for _, t := range in.Targets {
		for _, m := range r.Chosen.Fixed.Matrices() {
			if bytes := m.Rows * m.Cols * m.WordBits / 8; t.Core.WordBits == 8 &&
				bytes > largestArray {
				add("%s: %s takes %d bytes; compilers for 8-bit cores refuse arrays of more than "+
					"%d", t.Name, m.Name, bytes, largestArray)
			}
		}
		if t.Core.TimingKind != "official" {
			add("%s: no official instruction timing is published; cycles rest on figures %s",
				t.Name, t.Core.TimingKind)
		}
	}
	r.warnAssumptions()
	r.warnBuilds()
	r.warnForms()
	var unhindered []string
	for _, t := range in.Targets {
		if t.FlashWait == nil && len(t.Core.FlashWaits) == 0 && t.Core.WordBits > 8 {
			unhindered = append(unhindered, t.Name)
		}
	}
	if len(unhindered) > 0 {
		add("%s: no flash wait states are given, and cycles are without any; flash_wait in the "+
			"target or a profile of the part adds them", strings.Join(unhindered, ", "))
	}
}

// warnWithoutTolerance names the outputs that may lose anything, where others may not.
func (r *Result) warnWithoutTolerance() {
	in := r.Inputs
	var free []string
	for o, output := range in.judged() {
		if len(in.judgedPlaces(o)) == 0 {
			free = append(free, output.Name)
		}
	}
	if len(free) > 0 && in.JudgesLoss() {
		r.Warnings = append(r.Warnings,
			fmt.Sprintf("no tolerance holds for %s: what is lost there "+
				"is shown, and the cut does not look at it", dataset.ListNames(free)))
	}
}

// warnAssumptions says what memory and battery figures leave out.
func (r *Result) warnAssumptions() {
	var data, batteries []string
	for _, t := range r.Inputs.Targets {
		if t.RAM != nil && t.RAMTotal == nil {
			data = append(data, t.Name)
		}
		if t.Battery != nil {
			batteries = append(batteries, t.Name)
		}
	}
	if len(data) > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%s: ram is data alone, and so is its "+
			"limit; the stack comes on top, and ram_total in the target judges both together",
			strings.Join(data, ", ")))
	}
	if len(batteries) > 0 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("%s: battery life assumes that nothing but "+
			"these steps, and the sleep between them, discharges the battery",
			strings.Join(batteries, ", ")))
	}
}

// warnSingle names the places of which there is one selection sequence: it says nothing of others,
// so nothing may be cut.
func (r *Result) warnSingle(pl *Planner) {
	in := r.Inputs
	if !in.JudgesLoss() {
		return
	}
	var places []string
	for _, l := range pl.assess(pl.floatOnSelection()).rows {
		if place := l.WhereName(); l.Sequences == 1 && l.Metric != dataset.MaxError &&
			!slices.Contains(places, place) {
			places = append(places, place)
		}
	}
	if len(places) > 0 {
		r.Warnings = append(r.Warnings,
			fmt.Sprintf("one selection sequence says nothing of others, so nothing was cut: %s; "+
				"record more sequences, or take the tolerances there off",
				strings.Join(places, ", ")))
	}
}

// warnBlocks says which judged places rest on blocks of steps, and on the fewest of them over the
// rows of a place.
func (r *Result) warnBlocks() {
	var places []string
	fewest := map[string]Loss{}
	for _, l := range r.Loss {
		if !l.Judged || l.Blocks == 0 {
			continue
		}
		before, known := fewest[l.WhereName()]
		if !known {
			places = append(places, l.WhereName())
		}
		if !known || l.Blocks < before.Blocks {
			fewest[l.WhereName()] = l
		}
	}
	for i, place := range places {
		l := fewest[place]
		places[i] = fmt.Sprintf("%s (%d sequences, %d blocks of %d steps)", place, l.Sequences,
			l.Blocks, l.BlockSteps)
	}
	if len(places) > 0 {
		r.Warnings = append(r.Warnings, "few sequences are judged by blocks of their steps, see "+
			"docs/intervals.md: "+strings.Join(places, ", "))
	}
}

// warnUnits names units of the trained network, layer by layer.
func (r *Result) warnUnits(found [][]int, what string, hint func(layer int) string) {
	for layer, units := range found {
		if len(units) == 0 {
			continue
		}
		names := make([]string, len(units))
		for i, u := range units {
			names[i] = prune.UnitName(r.Inputs.Float.Net,
				prune.Unit{Layer: layer, Index: r.Chosen.Candidate.Units[layer][u]})
		}
		r.Warnings = append(r.Warnings,
			fmt.Sprintf("%s: trained units %s%s", what, strings.Join(names, ", "), hint(layer)))
	}
}

// warnWords says which words are to blame for a broken tolerance, and which units
// force the words that are wide.
func (r *Result) warnWords(pl *Planner) {
	c := r.Chosen
	if r.Blame = r.blame(pl); r.Blame != nil {
		r.Warnings = append(r.Warnings, r.Blame.String())
	}
	for _, f := range c.Forced {
		r.Warnings = append(r.Warnings, f.Explain())
	}
}
