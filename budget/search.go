package budget

import (
	"math"
	"slices"
	"sort"

	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
)

// signoffReach is how many half-widths of the interval, measured on selection
// recordings, must lie within the tolerance. One is the interval itself. The
// rest is for the sign-off recordings, which are others: if they are as many and
// alike, the difference of two such figures has √2 times the standard error, and
// 1.645 of these (95 % one-sided) over 1.96 per half-width are kept free.
var signoffReach = 1 + 1.645*math.Sqrt2/1.96

// The sorts of item that a cut takes away. A front end is a cost group with all
// its features: its code often takes more than the weights that go with it.
const (
	FrontEndItem = "front_end"
	FeatureItem  = "feature"
	UnitItem     = "unit"
)

// PathStep is one attempt of the cut.
type PathStep struct {
	Item      string // FrontEndItem, FeatureItem or UnitItem
	Features  []int  // features of the trained network that go
	Units     []prune.Unit
	Name      string
	Share     float64 // of the score, in its worst case; of a front end the sum over its features
	Taken     bool    // false: it stays, because Tightest breaks its tolerance
	Tightest  Loss    // the judged row with the least room, on selection recordings
	MayReach  float64 // what the sign-off recordings may show in that row, see signoffReach
	Candidate Candidate
	Costs     []Cost // of Candidate
}

// Cut is the way from the network as given to the smallest that stays within
// every tolerance on the selection recordings.
type Cut struct {
	Statistics    *prune.Statistics // of the network as given, on the selection recordings
	FeatureScores *prune.Scores
	UnitScores    *prune.Scores
	FeatureRank   []prune.Ranked // least needed first
	UnitRank      []prune.Ranked
	Start         Loss // the judged row in which the float network itself has the least room
	StartReach    float64
	Path          []PathStep
}

// FindCut tries every front end, then every feature and unit once, the least
// needed first, and takes away what the tolerances allow. An item whose removal
// breaks a tolerance in any scenario or region stays, and the next one is tried.
// progress is called after each attempt with the number done and the number of all.
func (in *Inputs) FindCut(progress func(done, all int)) *Cut {
	cut := in.Rank()
	if len(in.Job.Tolerances) == 0 {
		return cut
	}
	formats, _ := in.Job.Formats.candidates(in.Float.Net) // checked when the job was read
	kept := in.Whole(formats[0])
	base := in.floatOnSelection()
	cut.Start, cut.StartReach, _ = in.within(scores{float: base, cut: base, fixed: base})
	attempts := in.attempts(cut)
	for i, step := range attempts {
		if c, ok := without(kept, step); ok {
			reduced := cut.Statistics.Cut(c.Features, c.Units, prune.Refit)
			score := dataset.Measure(reduced, in.Selection, in.Regions)
			step.Tightest, step.MayReach, step.Taken = in.within(scores{float: base, cut: score, fixed: score})
			step.Candidate, step.Costs = c, in.Costs(c)
			if step.Taken {
				kept = c
			}
			cut.Path = append(cut.Path, step)
		}
		progress(i+1, len(attempts))
	}
	return cut
}

// attempts lists what is tried, in order: front ends, then features and units
// merged by their share.
func (in *Inputs) attempts(cut *Cut) []PathStep {
	var groups, items []PathStep
	for _, g := range in.Job.FrontEnds {
		step := PathStep{Item: FrontEndItem, Name: g.Name}
		for _, r := range cut.FeatureRank {
			if in.Float.Features[r.Item].FrontEnd == g.Name {
				step.Features = append(step.Features, r.Item)
				step.Share += r.Share
			}
		}
		groups = append(groups, step)
	}
	for _, r := range cut.FeatureRank {
		items = append(items, PathStep{Item: FeatureItem, Features: []int{r.Item}, Name: r.Name, Share: r.Share})
	}
	units := prune.Units(in.Float.Net)
	for _, r := range cut.UnitRank {
		items = append(items, PathStep{Item: UnitItem, Units: []prune.Unit{units[r.Item]}, Name: r.Name, Share: r.Share})
	}
	for _, steps := range [][]PathStep{groups, items} {
		sort.SliceStable(steps, func(a, b int) bool { return steps[a].Share < steps[b].Share })
	}
	return append(groups, items...)
}

// ScoreFeatures computes the scores of the features if the job gives none. It
// takes its time, once; progress may be nil.
func (in *Inputs) ScoreFeatures(progress func(done, all int)) {
	if in.Scores == nil && in.Computed == nil {
		in.Computed = prune.FeatureValues(in.Float, in.Selection, prune.Settings{Progress: progress})
	}
}

// Rank scores features (unless the job gives scores) and units.
func (in *Inputs) Rank() *Cut {
	cut := &Cut{Statistics: prune.MeasureStatistics(in.Float, in.Selection), FeatureScores: in.Scores}
	if cut.FeatureScores == nil {
		in.ScoreFeatures(nil)
		cut.FeatureScores = in.Computed.Scores
	}
	cut.UnitScores = prune.UnitEffects(in.Float, cut.Statistics.Means, in.Selection)
	cut.FeatureRank, cut.UnitRank = cut.FeatureScores.Ranking(), cut.UnitScores.Ranking()
	return cut
}

// without takes an item out of a candidate. It is no attempt if the item is gone
// already, or if it is the last feature or the last unit of a layer.
func without(c Candidate, step PathStep) (smaller Candidate, ok bool) {
	smaller = c
	smaller.Features = slices.DeleteFunc(slices.Clone(c.Features), func(k int) bool { return slices.Contains(step.Features, k) })
	ok = len(smaller.Features) > 0
	smaller.Units = nil
	for l, units := range c.Units {
		kept := slices.DeleteFunc(slices.Clone(units), func(j int) bool { return slices.Contains(step.Units, prune.Unit{Layer: l, Index: j}) })
		smaller.Units = append(smaller.Units, kept)
		ok = ok && len(kept) > 0
	}
	gone := len(smaller.Features) < len(c.Features) || smaller.UnitCount() < c.UnitCount()
	return smaller, ok && gone
}

// hopelessSlack is how much worse a row may get that the float network itself
// does not keep: rounding changes the last digits of anything.
const hopelessSlack = 1.01

// within tells whether every judged row on selection recordings leaves room for
// the sign-off, and returns the row with the least and what it may reach there.
// Rows of too few sequences for an interval are taken at their value. A row that
// the float network itself does not keep must not get worse.
func (in *Inputs) within(s scores) (tightest Loss, mayReach float64, ok bool) {
	ok = true
	most := math.Inf(-1)
	floor := in.floatReach()
	i := -1
	for _, row := range in.lossRows(in.Selection, s, true) {
		i++
		if row.Sequences == 0 {
			continue
		}
		reach := row.reach()
		if !(reach <= row.Tolerance || reach <= floor[i]*hopelessSlack) {
			ok = false
		}
		if u := used(row, reach); u > most || math.IsNaN(u) {
			most = u
			tightest, mayReach = row, reach
		}
	}
	return tightest, mayReach, ok
}

// reach is what a row may show on the sign-off recordings.
func (l *Loss) reach() float64 {
	value, high := l.JudgedValue()
	if l.Sequences < dataset.MinSequences {
		return value
	}
	return value + float64(signoffReach*(high-value))
}

// floatReach is the reach of every judged row for the float network itself.
func (in *Inputs) floatReach() []float64 {
	if in.selectionFloor == nil {
		base := in.floatOnSelection()
		for _, row := range in.lossRows(in.Selection, scores{float: base, cut: base, fixed: base}, true) {
			in.selectionFloor = append(in.selectionFloor, row.reach())
		}
	}
	return in.selectionFloor
}

// used is the share of its tolerance that a row may reach, less 1: above 0 it breaks it.
func used(row Loss, mayReach float64) float64 {
	return (mayReach - row.Tolerance) / math.Max(row.Tolerance, math.SmallestNonzeroFloat64)
}

// Chosen is the candidate that goes to sign-off.
type Chosen struct {
	Candidate Candidate
	CutNet    *dataset.Float
	Recovered *Recovered // nil: no recovery training
	Fixed     *quant.Network
	Within    bool // the selection recordings are within every tolerance
	Roundings []RoundingResult
	Widths    []WidthStep // attempts to narrow single words
	Forced    []Forced    // words that are left wide, and the units that need them
	Wider     []WidthStep // when a tolerance is broken: what a wider word would give, each by itself

	heldOut *dataset.Score // of networks that were calibrated without the sequence they are judged on
	used    float64        // share of its tolerance that the tightest row may reach
}

// Tightest is the row with the least room on the selection recordings, and what it
// may reach.
func (c *Chosen) Tightest() (Loss, float64) {
	r := c.Roundings[c.roundingIndex()]
	return r.Tightest, r.MayReach
}

// Choose adds the word widths to a cut. For each uniform choice of widths it goes
// back from the deepest point of the path to the first at which the fixed-point
// network is within every tolerance on the selection recordings; of these
// points it takes the one that breaks the fewest limits of the targets, among
// these the one with the least flash, front end included, and narrows
// single words from there. If there is none, it takes the whole network in the
// widest formats.
func (in *Inputs) Choose(cut *Cut) (*Chosen, error) {
	points := []Candidate{in.Whole(quant.Formats{})}
	for _, step := range cut.Path {
		if step.Taken {
			points = append(points, step.Candidate)
		}
	}
	return in.cheapest(cut.Statistics, points)
}

// ChooseFormats adds the word widths to given features and units: the ones with
// the least flash with which the fixed-point network is within every tolerance
// on the selection recordings, or else the widest that the job allows.
func (in *Inputs) ChooseFormats(statistics *prune.Statistics, c Candidate) (*Chosen, error) {
	return in.cheapest(statistics, []Candidate{c})
}

// cheapest searches points × formats. Points come with falling cost.
func (in *Inputs) cheapest(statistics *prune.Statistics, points []Candidate) (*Chosen, error) {
	formats, err := in.Job.Formats.candidates(in.Float.Net)
	if err != nil {
		return nil, err
	}
	var best, last *Chosen
	least, fewest := math.Inf(1), math.MaxInt
	for _, f := range formats {
		for i := len(points) - 1; i >= 0; i-- {
			c := points[i]
			c.Formats = f
			broken := in.brokenLimits(c)
			if broken > fewest || (broken == fewest && in.flash(c) >= least) {
				continue
			}
			if last, err = in.try(statistics, c); err != nil {
				return nil, err
			}
			if last.Within {
				best, least, fewest = last, in.flash(c), broken
				break
			}
		}
	}
	if best == nil {
		return last, in.widen(statistics, last)
	}
	return in.narrow(statistics, best)
}

// brokenLimits counts the limits that a candidate breaks on all targets.
func (in *Inputs) brokenLimits(c Candidate) int {
	broken := 0
	for _, cost := range in.Costs(c) {
		if cost.Verdict == Fail {
			broken++
		}
	}
	return broken
}

// flash is what weights and front end of a candidate take; tables and code hardly differ.
func (in *Inputs) flash(c Candidate) float64 {
	bytes := float64(in.Shape(c).WeightBytes())
	needed, _ := in.FrontEnds(c)
	for _, g := range needed {
		bytes += float64(g.Flash)
	}
	return bytes
}

// floatOnSelection is the score of the network as given, measured once.
func (in *Inputs) floatOnSelection() *dataset.Score {
	if in.selectionBase == nil {
		in.selectionBase = dataset.Measure(in.Float, in.Selection, in.Regions)
	}
	return in.selectionBase
}
