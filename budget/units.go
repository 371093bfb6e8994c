package budget

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"sync"

	"kerf/dataset"
	"kerf/prune"
	"kerf/quant"
)

// Size is one row of the table of sizes: a network with so many hidden units,
// brought to fixed point and measured on the selection recordings.
type Size struct {
	// of the network; as float network it is what tolerances of the row are relative to
	File string
	// it is one of [[model.other]], as trained; else the network of the job, cut to Units
	Other     bool
	Units     int // hidden units, of all layers
	Candidate Candidate
	// the rows that have a tolerance, or one per output when the job gives none
	Loss     []Loss
	Tightest Loss // the tightest judged row
	// the largest share of any tolerance that the sign-off recordings may show
	Used        float64
	GivenBreaks []RowName // rows whose tolerance the float network itself may break
	Within      bool      // every tolerance is kept, with the reserve for the sign-off
	Beside      *Beside   // how another network stands to that of the job; nil for that itself
	Costs       []Cost
	Broken      int     // limits, over all targets
	Share       float64 // what the search minimises, see [Inputs.Objective]
	Recommended bool

	price price
}

// Beside compares the integer network of another file with the float network of the job, pair by
// pair over the selection sequences. Two networks that were trained apart err apart: in a scenario
// of two sequences their difference has an interval that shows nothing, however much better the
// other network is. So over all recordings the upper end of the 95 % interval must meet the
// tolerance, and in scenarios and regions the figure itself. There is no reserve, since no later
// recordings judge this again.
type Beside struct {
	File     string // of the float network: that of the job
	Loss     []Loss // the rows of [Size.Loss] in that comparison
	Tightest Loss   // the row furthest beyond its tolerance, else that of all recordings
	Met      bool   // the network of the file is no worse by more than the tolerances
	Broken   bool   // the figure of the tightest row itself breaks its tolerance
}

// AllLayers takes the units out of all recurrent layers in proportion.
const AllLayers = -1

// Sizes makes a row for every number of hidden units from what was trained down to 1, and one for
// every other network of the job as it is. Features are those given. Of several recurrent layers
// the given one is cut and the others keep their units; with AllLayers all are cut in proportion to
// what they have.
//
// The unit that goes next is the one whose absence changes the outputs least: its effect when held
// at its mean, times what the units and features that stay do not predict of it (both
// [prune.UnitEffects] and [prune.Statistics.Unexplained] on the selection recordings). What goes is
// replaced as plan does it. Word widths are uniform: the narrowest of int8 and int16 weights and
// 16- and 32-bit state, as far as the job leaves them open, with which every tolerance is kept, or
// the narrowest of all where none keeps them. Ways of rounding are compared on the first row of a
// network, the others take the one that is best there. Another network is judged as if it were
// planned by itself: tolerances are relative to its own float network. Of the rows within every
// tolerance the one that costs least by the objective of the job is recommended; of other networks
// only those that are shown to be no worse than the network of the job by more than the tolerances
// ([Beside]). progress is called after each row.
// The error is that of ctx, of a file of another network or of [quant.Quantize].
func (pl *Planner) Sizes(ctx context.Context, features []int, layer int,
	progress func(done, all int)) ([]Size, error) {
	others, err := pl.others()
	if err != nil {
		return nil, err
	}
	candidates, err := pl.shrink(ctx, features, layer)
	if err != nil {
		return nil, err
	}
	all := len(candidates) + len(others)
	var sizes []Size
	var way *quant.Rounding // nil: all are compared
	for _, c := range candidates {
		size, _, err := pl.size(ctx, c, pl.in.Job.Model.File, way)
		if err != nil {
			return nil, err
		}
		way = &size.Candidate.Rounding
		sizes = append(sizes, size)
		progress(len(sizes), all)
	}
	for _, o := range others {
		size, err := o.trained(ctx, features)
		if err != nil {
			return nil, err
		}
		sizes = append(sizes, size)
		progress(len(sizes), all)
	}
	recommend(sizes)
	return sizes, nil
}

// Trained makes the rows of [Planner.Sizes] that are no cuts: one for every other network of the
// job, with all features. The error is that of [Planner.Sizes].
func (pl *Planner) Trained(ctx context.Context) ([]Size, error) {
	others, err := pl.others()
	if err != nil {
		return nil, err
	}
	var sizes []Size
	for _, o := range others {
		size, err := o.trained(ctx, o.in.Whole(quant.Formats{}).Features)
		if err != nil {
			return nil, err
		}
		sizes = append(sizes, size)
	}
	return sizes, nil
}

// trained makes the row of another network.
func (o other) trained(ctx context.Context, features []int) (Size, error) {
	c := o.in.Whole(quant.Formats{})
	c.Features = features
	size, fixed, err := o.size(ctx, c, o.file, nil)
	if err == nil {
		size.Other, size.Beside = true, o.given.beside(fixed)
	}
	return size, err
}

// beside compares another network with that of the job.
func (pl *Planner) beside(fixed *dataset.Score) *Beside {
	b := &Beside{File: pl.in.Job.Model.File, Met: true, Loss: pl.sizeLoss(fixed, fixed)}
	most, first := math.Inf(-1), 0 // of the tightest row: the share of what it may reach, the rank
	for i, row := range pl.lossRows(pl.in.Selection,
		scores{float: pl.floatOnSelection(), cut: fixed, fixed: fixed}, true) {
		if row.Sequences == 0 {
			continue
		}
		allowed := allowance(row, pl.floatReach()[i])
		value, high := row.JudgedValue()
		share, rank := value/allowed, 0
		switch isBroken := !(share <= 1); { // NaN where the float network makes no error
		case isBroken:
			b.Broken, rank = true, 2
		case row.IsEverywhere():
			share, rank = high/allowed, 1
		}
		b.Met = b.Met && share <= 1
		if rank > first || rank == first && !(share <= most) {
			most, first, b.Tightest = share, rank, row
		}
	}
	return b
}

// String says in words how the network stands to that of the job.
func (b *Beside) String() string {
	row := b.Tightest
	value, high := row.JudgedValue()
	text := row.apart(value, high, row.Allowed())
	of := row.figure()
	if row.Relative {
		of = "the rise of " + of
	}
	says := fmt.Sprintf("against float %s, %s is %s (tolerance %s)", b.File, of, text[0], text[2])
	switch {
	case b.Broken:
		return says + ": it is worse"
	case !row.IsEverywhere():
		return says + ": no row is broken"
	case b.Met:
		return fmt.Sprintf("%s and at most %s: it is no worse by more than that, in no scenario or "+
			"region either", says, text[1])
	case math.IsNaN(high):
		return says + ": one sequence says nothing of others"
	}
	return fmt.Sprintf("%s and at most %s: it may be worse", says, text[1])
}

// IsPossible reports whether a size is within every tolerance, and if it is another network, shown
// to be no worse than that of the job by more than they allow.
func (s *Size) IsPossible() bool { return s.Within && (s.Beside == nil || s.Beside.Met) }

// recommend marks the row that costs least of those that are possible.
func recommend(sizes []Size) {
	best := -1
	for i, s := range sizes {
		if s.IsPossible() && (best < 0 || s.price.compare(sizes[best].price) < 0) {
			best = i
		}
	}
	if best >= 0 {
		sizes[best].Recommended = sizes[best].Tightest.Judged
	}
}

// shrink lists candidates of falling size, one unit (or with several layers about
// one of each) less from row to row. The error is that of ctx.
func (pl *Planner) shrink(ctx context.Context, features []int, layer int) ([]Candidate, error) {
	in, statistics := pl.in, pl.statistics()
	net := in.Float.Net
	effects, err := prune.UnitEffects(ctx, in.Float, statistics.Means, in.Selection)
	if err != nil {
		return nil, err
	}
	effect := map[prune.Unit]float64{}
	units := prune.Units(net)
	for _, r := range effects.Ranking() {
		effect[units[r.Item]] = r.Share
	}
	c := in.Whole(quant.Formats{})
	c.Features = features
	most := 0 // units of the layer that is counted
	for l, r := range net.Recurrent {
		if layer == AllLayers || layer == l {
			most = max(most, r.Units)
		}
	}
	candidates := []Candidate{c}
	for n := most - 1; n >= 1 && ctx.Err() == nil; n-- {
		c.Units = slices.Clone(c.Units)
		for l, r := range net.Recurrent {
			if layer != AllLayers && layer != l {
				continue
			}
			// in proportion, rounded up
			for keep := (n*r.Units + most - 1) / most; len(c.Units[l]) > keep; {
				_, unexplained := statistics.Unexplained(c.Features, c.Units)
				next, least := 0, math.Inf(1)
				for at, j := range c.Units[l] {
					if v := effect[prune.Unit{Layer: l, Index: j}] *
						math.Sqrt(unexplained[l][at]); v < least {
						next, least = at, v
					}
				}
				c.Units[l] = slices.Delete(slices.Clone(c.Units[l]), next, next+1)
			}
		}
		candidates = append(candidates, c)
	}
	return candidates, ctx.Err()
}

// size brings one candidate to fixed point, with the given way of rounding or with
// the best, and measures it. It returns the score of the integer network as well.
func (pl *Planner) size(ctx context.Context, c Candidate, file string,
	way *quant.Rounding) (Size, *dataset.Score, error) {
	formats, err := pl.in.Job.Formats.candidates(pl.in.Float.Net)
	if err != nil {
		return Size{}, nil, err
	}
	p, err := pl.prepare(ctx, c)
	if err != nil {
		return Size{}, nil, err
	}
	ways := p.ways()
	if way != nil {
		ways = []quant.Rounding{*way}
	}
	cut := sync.OnceValue(func() *dataset.Score { return pl.in.measured(p.outputs) })
	var best *Chosen
	for _, f := range formats {
		c.Formats = f
		tried, err := pl.tryWays(ctx, p, c, ways)
		if err != nil {
			return Size{}, nil, err
		}
		if best == nil || tried.Within {
			best = tried
		}
		if best.Within {
			break
		}
		if _, keeps := pl.within(cut()); !keeps {
			break // wider words cannot repair what the cut has broken
		}
	}
	j := pl.assess(best.heldOut)
	s := Size{
		File: file, Units: best.Candidate.UnitCount(), Candidate: best.Candidate,
		Used: j.used, Within: best.Within, Costs: pl.in.Costs(best.Candidate),
		price: pl.priceOf(best.Candidate),
	}
	for _, row := range j.rows {
		if row.GivenBreaks() {
			s.GivenBreaks = append(s.GivenBreaks, row.RowName)
		}
	}
	s.Broken, s.Share = s.price.broken, s.price.mean
	s.Tightest = best.Tightest()
	s.Loss = pl.sizeLoss(cut(), best.heldOut)
	return s, best.heldOut, nil
}

// sizeLoss compares a network, before and after rounding, with that of pl over all selection
// recordings: one row per tolerance, or per output when the job gives none.
func (pl *Planner) sizeLoss(cut, fixed *dataset.Score) []Loss {
	var rows []Loss
	for _, row := range pl.lossRows(pl.in.Selection,
		scores{float: pl.floatOnSelection(), cut: cut, fixed: fixed}, pl.in.JudgesLoss()) {
		if row.IsEverywhere() &&
			(row.Judged || row.Metric == dataset.Metrics(pl.in.Float.Classes)[0]) {
			rows = append(rows, row)
		}
	}
	return rows
}

// other is the planner of a network of another size that the job names.
type other struct {
	*Planner
	file  string
	given *Planner // of the network of the job
}

// others reads the networks that [[model.other]] names. Loss is relative to each of them, and costs
// are priced as those of the network of the job.
func (pl *Planner) others() ([]other, error) {
	in := pl.in
	var all []other
	for i, m := range in.Job.Model.Others {
		if m.File == "" {
			return nil, in.Job.at(`[[model.other]] file = "smaller.safetensors"`,
				"the other network has no file", "model", "other", i)
		}
		if m.Convention == "" && filepath.Ext(m.File) == filepath.Ext(in.Job.Model.File) {
			m.Convention = in.Job.Model.Convention
		}
		inputs := *in
		read := loader{&inputs}
		imported, err := read.importNetwork("other model",
			ModelFile{File: m.File, Convention: m.Convention, Layers: m.Layers}, "model", "other",
			i, "file")
		if err != nil {
			return nil, err
		}
		at := func(hint, msg string) error {
			return in.Job.at(hint, msg, "model", "other", i, "file")
		}
		if n := imported.Network.Inputs(); n != len(in.Float.Features) {
			return nil, at("it needs the features of the job, in their order",
				fmt.Sprintf("the network in %s takes %d features, the job has %d", m.File, n,
					len(in.Float.Features)))
		}
		if n := imported.Network.Outputs(); n != len(in.Float.Outputs) {
			return nil, at("it needs the outputs of the job, in their order",
				fmt.Sprintf("the network in %s gives %d outputs, the job has %d", m.File, n,
					len(in.Float.Outputs)))
		}
		if imported.Softmax && !in.Float.Classes {
			return nil, at("export it without the softmax",
				"the network in "+m.File+" ends with a softmax, but the job has no classes")
		}
		net, err := read.normalised(imported, in.Float.Features, m.File)
		if err != nil {
			return nil, err
		}
		inputs.Float = dataset.NewFloat(net, in.Float.Features, in.Float.Outputs)
		inputs.Float.Classes = in.Float.Classes
		o := NewPlanner(&inputs)
		o.prices = pl.prices
		all = append(all, other{o, m.File, pl})
	}
	return all, nil
}
