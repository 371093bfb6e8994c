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
	File string // of the network
	// it is one of [[model.other]], as trained; else the network of the job, cut to Units
	Other     bool
	Units     int // hidden units, of all layers
	Candidate Candidate
	// the rows that have a tolerance, or one per output when the job gives none
	Loss     []Loss
	Tightest Loss // the tightest judged row
	// the largest share of any tolerance that the sign-off recordings may show
	Used        float64
	GivenBreaks []RowName // rows whose tolerance the network as given itself may break
	Within      bool      // every tolerance is kept, with the reserve for the sign-off
	Costs       []Cost
	Broken      int     // limits, over all targets
	Share       float64 // what the search minimises, see [Inputs.Objective]
	Recommended bool

	price price
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
// network, the others take the one that is best there. Of the rows within every tolerance the one
// that costs least by the objective of the job is recommended. progress is called after each row.
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
		size, err := pl.size(ctx, c, pl.in.Job.Model.File, way)
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
	size, err := o.size(ctx, c, o.file, nil)
	size.Other = true
	return size, err
}

// recommend marks the row that costs least of those within every tolerance.
func recommend(sizes []Size) {
	best := -1
	for i, s := range sizes {
		if s.Within && (best < 0 || s.price.compare(sizes[best].price) < 0) {
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
// the best, and measures it.
func (pl *Planner) size(ctx context.Context, c Candidate, file string,
	way *quant.Rounding) (Size, error) {
	formats, err := pl.in.Job.Formats.candidates(pl.in.Float.Net)
	if err != nil {
		return Size{}, err
	}
	p, err := pl.prepare(ctx, c)
	if err != nil {
		return Size{}, err
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
			return Size{}, err
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
	return s, nil
}

// sizeLoss compares a network, before and after rounding, with the float network over all selection
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
	file string
}

// others reads the networks that [[model.other]] names. Loss is relative to the network of the job
// for all of them.
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
		o.floatOnSelection, o.floatReach = pl.floatOnSelection, pl.floatReach
		all = append(all, other{o, m.File})
	}
	return all, nil
}
