package budget

import (
	"context"
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"slices"

	"kerf/dataset"
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

// Sizes makes a row for every number of units from what was trained down to one per layer, and one
// for every other network of the job as it is. It follows [Planner.Choose], and in a job with
// [recovery] [Planner.Recover], and has what these would choose if the job said how many units
// there are to be: row by row the same features, units and words. Another network is judged as if
// it were planned by itself: tolerances are relative to its own float network.
//
// chosen is what plan chose; its row is recommended, or another network that costs less, is within
// every tolerance, and is shown to be no worse than the network of the job by more than these
// ([Beside]). progress is called after each row. The error is that of ctx, of a file of another
// network, of [recovery.Train] or of [quant.Quantize].
func (pl *Planner) Sizes(ctx context.Context, chosen *Chosen,
	progress func(done, all int)) ([]Size, error) {
	others, err := pl.others()
	if err != nil {
		return nil, err
	}
	var sizes []Size
	plan := -1
	counts := pl.table.counts(countsOf(chosen.Candidate))
	all := len(counts) + len(others)
	for _, n := range counts {
		r, err := pl.table.row(ctx, n)
		if err != nil {
			return nil, err
		}
		best := r.chosen
		if pl.trained != nil {
			if best, err = pl.trained.row(ctx, n, best); err != nil {
				return nil, err
			}
		}
		size := pl.sizeOf(best)
		size.File = pl.in.Job.Model.File
		if chosen.Within && slices.Equal(n, countsOf(chosen.Candidate)) {
			plan = len(sizes)
		}
		sizes = append(sizes, size)
		progress(len(sizes), all)
	}
	for _, o := range others {
		size, err := o.trained(ctx)
		if err != nil {
			return nil, err
		}
		sizes = append(sizes, size)
		progress(len(sizes), all)
	}
	recommend(sizes, plan)
	return sizes, nil
}

// isBetterCut reports whether a point is the better one of two with as many units.
func (p *Point) isBetterCut(q *Point) bool {
	switch {
	case p.Within() != q.Within():
		return p.Within()
	case p.Within():
		return p.price.compare(q.price) < 0
	}
	return p.Used < q.Used
}

// counts lists the numbers of units that have a row, the most first: for every sum the numbers of
// the cheapest point within every tolerance, or of the point that uses least of them, and where the
// search has none numbers in proportion to those of the network. Of the sum of the choice it is the
// numbers of the choice.
func (t *table) counts(choice []int) [][]int {
	bySum := map[int][]int{sum(choice): choice}
	best := map[int]*Point{}
	for _, p := range t.cut.Points {
		counts := countsOf(p.Candidate)
		n := sum(counts)
		if p.Fixed || n == sum(choice) {
			continue
		}
		if best[n] == nil || p.isBetterCut(best[n]) {
			best[n], bySum[n] = p, counts
		}
	}
	for _, counts := range t.pl.in.inProportion() {
		if n := sum(counts); bySum[n] == nil {
			bySum[n] = counts
		}
	}
	var all [][]int
	for _, n := range slices.Backward(slices.Sorted(maps.Keys(bySum))) {
		all = append(all, bySum[n])
	}
	return all
}

// inProportion lists numbers of units that the job leaves open, the fewest first. Layers have
// theirs in proportion to those of the network, rounded up.
func (in *Inputs) inProportion() [][]int {
	whole, most := in.start(quant.Formats{}), 0
	for _, units := range whole.Units {
		most = max(most, len(units))
	}
	var sizes [][]int
	for n := 1; n <= most; n++ {
		counts := make([]int, len(whole.Units))
		for l, units := range whole.Units {
			counts[l] = (n*len(units) + most - 1) / most
		}
		if msg, _ := in.countFault(counts); msg == "" {
			sizes = append(sizes, counts)
		}
	}
	return sizes
}

// sizeOf is a row of the table of sizes for a network in fixed point.
func (pl *Planner) sizeOf(c *Chosen) Size {
	j := pl.assess(c.heldOut)
	s := Size{Units: c.Candidate.UnitCount(), Candidate: c.Candidate, Used: j.used,
		Within: c.Within, Costs: pl.in.Costs(c.Candidate), price: pl.priceOf(c.Candidate),
		Tightest: c.Tightest()}
	for _, row := range j.rows {
		if row.GivenBreaks() {
			s.GivenBreaks = append(s.GivenBreaks, row.RowName)
		}
	}
	s.Broken, s.Share = s.price.broken, s.price.mean
	s.Loss = pl.sizeLoss(dataset.Measure(c.float(), pl.sampled, pl.in.Regions), c.heldOut)
	return s
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
		size, err := o.trained(ctx)
		if err != nil {
			return nil, err
		}
		sizes = append(sizes, size)
	}
	return sizes, nil
}

// trained makes the row of another network.
func (o other) trained(ctx context.Context) (Size, error) {
	itself := unsearched(o.in.Whole(quant.Formats{}))
	c, err := o.choose(ctx, itself.Points, itself, nil)
	if err != nil {
		return Size{}, err
	}
	chosen := c.chosen()
	size := o.sizeOf(chosen)
	size.File, size.Other, size.Beside = o.file, true, o.given.beside(chosen.heldOut)
	return size, nil
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
		return fmt.Sprintf(
			"%s and at most %s: it is no worse by more than that, in no scenario or "+
				"region either", says, text[1])
	case math.IsNaN(high):
		return says + ": one sequence says nothing of others"
	}
	return fmt.Sprintf("%s and at most %s: it may be worse", says, text[1])
}

// IsPossible reports whether a size is within every tolerance, and if it is another network, shown
// to be no worse than that of the job by more than they allow.
func (s *Size) IsPossible() bool { return s.Within && (s.Beside == nil || s.Beside.Met) }

// recommend marks the row of the plan, which is the given one or -1, or another network that is
// possible and costs less.
func recommend(sizes []Size, best int) {
	for i, s := range sizes {
		if s.Other && s.IsPossible() &&
			(best < 0 || s.price.compare(sizes[best].price) < 0) {
			best = i
		}
	}
	if best >= 0 {
		sizes[best].Recommended = sizes[best].Tightest.Judged
	}
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
