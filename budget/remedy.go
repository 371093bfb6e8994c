package budget

import (
	"context"
	"fmt"
	"math"
	"slices"

	"kerf/budget/cost"
	"kerf/dataset"
	"kerf/quant"
	"kerf/targets"
)

// Remedy is a change of one thing after which a limit is met and no other breaks.
type Remedy struct {
	Target   string
	Resource Resource // whose limit it meets
	Knob     string   // clock, place, code, words, units or features
	Change   string   // in words
	Names    []string // of the features or units that go
	Value    float64
	Within   bool // the selection recordings stay within every tolerance
	// the tightest judged row there; not Judged if the network stays as it is
	Tightest Loss
}

// The things that a remedy changes, in the order in which they are tried.
const (
	ClockKnob   = "clock"
	PlaceKnob   = "place"
	CodeKnob    = "code"
	WordKnob    = "words"
	UnitKnob    = "units"
	FeatureKnob = "features"
)

// remedies looks for remedies of the broken limits of one target.
type remedies struct {
	pl     *Planner
	in     *Inputs
	cut    *Cut
	now    Candidate
	tried  map[triedKey]*Chosen
	found  []Remedy
	target Target
}

// triedKey stands for the cut and the words of a candidate.
type triedKey struct {
	cut   cutKey
	words string
}

// Remedies finds, for every broken limit of every standing, what would meet it by itself: the
// lowest clock, the other place for the weights, the other form of the code, the widest uniform
// words, and the fewest units or features that go, in the order of the ranking. It looks at no
// pairs of changes. The network that a change gives is run on the selection recordings. progress is
// called after each search for one limit, with the number of searches that are done and of all. The
// error is that of ctx or of [quant.Quantize].
func (pl *Planner) Remedies(ctx context.Context, cut *Cut, chosen *Chosen, standings []Standing,
	progress func(done, all int)) ([]Remedy, error) {
	if cut.FeatureRank == nil { // the choice was made by hand
		var err error
		if cut, err = pl.Rank(ctx); err != nil {
			return nil, err
		}
	}
	r := &remedies{pl: pl, in: pl.in, cut: cut, now: chosen.Candidate,
		tried: map[triedKey]*Chosen{}}
	searches := []func(context.Context, Cost) error{r.words, r.units, r.features}
	done, all := 0, 0
	for _, s := range standings {
		all += len(searches) * len(s.Broken)
	}
	for _, s := range standings {
		r.target = s.Target
		for _, row := range s.Broken {
			r.clock(row)
			r.place(row)
			r.code(row)
			for _, search := range searches {
				if err := search(ctx, row); err != nil {
					return nil, err
				}
				done++
				progress(done, all)
			}
		}
	}
	return r.found, nil
}

// heals gives the row of a resource on a changed target or of a changed candidate, and
// whether that meets the limit without breaking another.
func (r *remedies) heals(row Cost, c Candidate, t Target) (after Cost, ok bool) {
	before := map[Resource]bool{}
	for _, c := range totals(r.in.targetCosts(r.now, r.target)) {
		before[c.Resource] = c.Verdict == Fail
	}
	ok = true
	for _, c := range totals(r.in.targetCosts(c, t)) {
		if c.Resource == row.Resource {
			after = c
		}
		ok = ok && (c.Verdict != Fail || before[c.Resource])
	}
	return after, ok && after.Verdict == Pass
}

// clockStep is what a clock that is found is rounded up to, in Hz.
const clockStep = 1e5

// clock looks for the lowest clock that meets a limit on time. More wait
// states take some of it back, so it goes up until it meets the limit.
func (r *remedies) clock(row Cost) {
	if row.Resource != StepTime && row.Resource != Duty {
		return
	}
	t := r.target
	after := row
	for range len(t.Core.FlashWaits) + 2 { // the cycles change at most once per range
		t.Clock = Hertz(math.Ceil(float64(t.Clock)*after.Value/row.Limit/clockStep) * clockStep)
		if _, ok := t.Core.WaitAt(float64(t.Clock)); !ok ||
			(t.Core.MaxClock != nil && t.Clock > *t.Core.MaxClock) {
			return
		}
		var ok bool
		if after, ok = r.heals(row, r.now, t); ok {
			change := "clock " + targets.FormatHertz(float64(t.Clock))
			if t.Core.MaxClock == nil {
				change += ", if the part allows it"
			}
			r.unchanged(row, ClockKnob, change, after)
			return
		}
	}
}

// place tries the other place for weights and tables.
func (r *remedies) place(row Cost) {
	t := r.target
	t.WeightsIn = inRAM
	change := "weights copied to RAM"
	if r.target.WeightsIn == inRAM {
		t.WeightsIn, change = inFlash, "weights left in flash"
	}
	if after, ok := r.heals(row, r.now, t); ok {
		r.unchanged(row, PlaceKnob, change, after)
	}
}

// code tries the other form of the code, where the job names one.
func (r *remedies) code(row Cost) {
	t := r.target
	switch {
	case t.Code == cost.Small:
		t.Code = cost.Fast
	case t.Code == cost.Fast && t.mayBeSmall():
		t.Code = cost.Small
	default:
		return
	}
	if after, ok := r.heals(row, r.now, t); ok {
		r.unchanged(row, CodeKnob, fmt.Sprintf("code = %q in the job", t.Code), after)
	}
}

// unchanged notes a remedy that leaves the network as it is.
func (r *remedies) unchanged(row Cost, knob, change string, after Cost) {
	r.found = append(r.found, Remedy{Target: r.target.Name, Resource: row.Resource, Knob: knob,
		Change: change, Value: after.Value, Within: true})
}

// words tries narrower uniform words, the widest first.
func (r *remedies) words(ctx context.Context, row Cost) error {
	net := r.in.Float.Net
	bits := func(f quant.Formats) int { // of all words together
		sum := 0
		for _, l := range f.Layers {
			sum += l.InputBits + l.RecurrentBits + l.StateBits
		}
		return sum
	}
	var narrower []quant.Formats
	for _, weights := range []int{16, 8, 4} {
		for _, state := range []int{32, 16} {
			if f := quant.Uniform(net, weights, headBits, state); bits(f) < bits(r.now.Formats) &&
				f.Validate(net) == nil {
				narrower = append(narrower, f)
			}
		}
	}
	slices.SortStableFunc(narrower, func(a, b quant.Formats) int { return bits(b) - bits(a) })
	for _, f := range narrower {
		c := r.now
		c.Formats = f
		if after, ok := r.heals(row, c, r.target); ok {
			return r.changed(ctx, row, WordKnob, nil, f.String(), c, after)
		}
	}
	return nil
}

// units takes away the least needed units until the limit is met.
func (r *remedies) units(ctx context.Context, row Cost) error {
	return r.fewer(ctx, row, UnitKnob, UnitItem)
}

// features takes away the least needed front end or channel with which the limit is met, and by
// itself the least needed features until it is.
func (r *remedies) features(ctx context.Context, row Cost) error {
	for _, group := range r.in.items(r.cut) {
		c, ok := group.without(r.now)
		if !ok || group.sort != FrontEndItem && group.sort != ChannelItem {
			continue
		}
		if after, ok := r.heals(row, c, r.target); ok {
			gone := dataset.NamesWithout(r.in.KeptFeatures(r.now), r.in.KeptFeatures(c))
			what := map[string]string{FrontEndItem: "front end", ChannelItem: "channel"}[group.sort]
			change := fmt.Sprintf("without the %s %s and its %d features", what, group.names[0],
				len(gone))
			if err := r.changed(ctx, row, FeatureKnob, gone, change, c, after); err != nil {
				return err
			}
			break
		}
	}
	return r.fewer(ctx, row, FeatureKnob, FeatureItem)
}

// fewer takes away items of one sort, the least needed first.
func (r *remedies) fewer(ctx context.Context, row Cost, knob, sort string) error {
	c := r.now
	var gone []string
	for _, next := range r.in.items(r.cut) {
		less, ok := next.without(c)
		if !ok || next.sort != sort {
			continue
		}
		c, gone = less, append(gone, next.names...)
		if after, ok := r.heals(row, c, r.target); ok {
			change := fmt.Sprintf("%d of the %s less: %s", len(gone), knob, dataset.ListNames(gone))
			return r.changed(ctx, row, knob, gone, change, c, after)
		}
	}
	return nil
}

// changed notes a remedy that changes the network, and what that does to the loss.
func (r *remedies) changed(ctx context.Context, row Cost, knob string, names []string,
	change string, c Candidate, after Cost) error {
	key := triedKey{c.key(), c.Formats.String()}
	chosen, ok := r.tried[key]
	if !ok {
		var err error
		if chosen, err = r.pl.try(ctx, c); err != nil {
			return err
		}
		r.tried[key] = chosen
	}
	found := Remedy{Target: r.target.Name, Resource: row.Resource, Knob: knob, Change: change,
		Names: names, Value: after.Value, Within: chosen.Within}
	found.Tightest = chosen.Tightest()
	r.found = append(r.found, found)
	return nil
}

// Tolerance says what a remedy does to the loss, in a few words.
func (m *Remedy) Tolerance() string {
	switch {
	case m.Knob == ClockKnob || m.Knob == PlaceKnob || m.Knob == CodeKnob:
		return "as now"
	case !m.Tightest.Judged:
		return "none given"
	}
	text := m.Tightest.apart(m.Tightest.MayReach, m.Tightest.Tolerance, m.Tightest.FloatMayReach)
	switch {
	case m.Within && m.Tightest.GivenBreaks():
		return fmt.Sprintf("broken as given: may reach %s, tolerance %s, as given %s", text[0],
			text[1], text[2])
	case m.Within:
		return fmt.Sprintf("met: may reach %s, tolerance %s", text[0], text[1])
	}
	return fmt.Sprintf("broken: may reach %s, tolerance %s", text[0], text[1])
}
