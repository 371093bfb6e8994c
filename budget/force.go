package budget

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sort"
	"strings"

	"kerf/prune"
	"kerf/quant"
)

// Forced says why a word stays wide: which units need it.
type Forced struct {
	What     string // tensor or state
	Bits     int    // the word that is needed
	Narrower int    // the word that was refused
	// with the narrower word for all units: the tightest judged row, on selection
	// recordings
	Tightest Loss
	Of       string       // what the names in Rows are: unitRows or outputRows
	Rows     []ForcedUnit // the fewest that must stay wide, by their share
	All      int          // how many there are
	Rest     Loss         // the tightest row when only Rows stay wide
	RestUsed float64      // the largest share of any tolerance then
	OneLess  float64      // the same without the last of Rows; 0 where there is one
}

// What a word can be narrowed for one at a time.
const (
	unitRows   = "units"
	outputRows = "outputs"
)

// ForcedUnit is one unit, or for the last dense layer one output.
type ForcedUnit struct {
	Name string `json:"name"`
	// of the squared distance that the narrower word adds, unit by unit
	Share float64 `json:"share"`
	// steps that the unit remembers on the selection recordings; 0 for none
	Memory float64 `json:"memory_steps"`
	// a 16-bit state: steps on which it stands still although its candidate is 1 % or more away
	Stalled int `json:"stalled_steps"`
	Steps   int `json:"steps"` // of the selection recordings
}

// force finds, for every word that the tolerances kept wide, the units that need
// it. It narrows the word for one unit at a time, orders the units by the squared
// distance that this adds, and looks for the fewest of them with which the others
// can be narrow within every tolerance. Rounding is the way that suits the narrower
// word best; all runs are on selection recordings that the network was not
// calibrated on.
func (pl *Planner) force(ctx context.Context, chosen *Chosen, refused []refusal) error {
	p, err := pl.prepare(ctx, chosen.Candidate)
	if err != nil {
		return err
	}
	for _, r := range refused {
		f := Forced{What: r.width.name, Bits: *r.width.bits(&chosen.Candidate.Formats),
			Narrower: r.step.Bits, Tightest: r.step.Tightest}
		c := chosen.Candidate
		c.Rounding = r.narrow.Candidate.Rounding
		names := pl.in.rowNames(c, r.width)
		f.All, f.Of = len(names), unitRows
		if r.width.isHead(pl.in) {
			f.Of = outputRows
		}
		partial := quant.Partial{Word: r.width.word, Layer: r.width.layer, Bits: r.step.Bits,
			Narrow: make([]bool, len(names))}
		narrowings := make([]*quant.Narrowing, len(p.restCalibrations))
		for k := range narrowings {
			if narrowings[k], err = quant.NewNarrowing(p.restNets[k], p.restCalibrations[k],
				c.Formats, c.Rounding, partial); err != nil {
				return err
			}
		}
		narrowed := func(k int) (*quant.Network, error) { return narrowings[k].Network(&partial) }
		units, err := pl.in.blameUnits(ctx, p, partial, names, narrowed)
		if err != nil {
			return err
		}
		f.rest(pl.assess(chosen.heldOut)) // with the wide word for all
		if err := pl.fewest(ctx, p, partial, units, narrowed, &f); err != nil {
			return err
		}
		pl.in.describeUnits(p, r, &f, units)
		chosen.Forced = append(chosen.Forced, f)
	}
	return nil
}

// rankedUnit is a row by the squared distance that narrowing it adds.
type rankedUnit struct {
	index int
	ForcedUnit
}

// blameSteps is about the most steps that units are ordered by. Our choice.
const blameSteps = 8192

// blameUnits narrows one unit at a time and orders them, the most harmful first.
// One fold is enough for that, and of a long one some sequences.
func (in *Inputs) blameUnits(ctx context.Context, p *prepared, partial quant.Partial,
	names []string, narrowed func(fold int) (*quant.Network, error)) ([]rankedUnit, error) {
	before, err := in.heldOut(ctx, p, 1, blameSteps, narrowed)
	if err != nil {
		return nil, err
	}
	square := func(predicted [][]float64) float64 {
		d := in.distance(p, predicted)
		return float64(d * d)
	}
	own := square(before)
	units := make([]rankedUnit, len(names))
	total := 0.0
	for j, name := range names {
		clear(partial.Narrow)
		partial.Narrow[j] = true
		predicted, err := in.heldOut(ctx, p, 1, blameSteps, narrowed)
		if err != nil {
			return nil, err
		}
		units[j] = rankedUnit{j, ForcedUnit{Name: name, Share: max(0, square(predicted)-own)}}
		total += units[j].Share
	}
	for j := range units {
		if total > 0 {
			units[j].Share /= total
		}
	}
	slices.SortStableFunc(units, func(a, b rankedUnit) int { return cmp.Compare(b.Share, a.Share) })
	return units, nil
}

// fewest halves its way to the least number of units, in their order, that must
// stay wide.
func (pl *Planner) fewest(ctx context.Context, p *prepared, partial quant.Partial,
	units []rankedUnit, narrowed func(fold int) (*quant.Network, error), f *Forced) error {
	var failed error
	n := 1 + sort.Search(len(units)-1, func(k int) bool {
		for i, u := range units {
			partial.Narrow[u.index] = i > k
		}
		predicted, err := pl.in.heldOut(ctx, p, folds, 0, narrowed)
		if err != nil {
			failed = err
			return true
		}
		j := pl.assess(pl.in.measured(predicted))
		if j.used <= 1 {
			f.rest(j)
		} else {
			f.OneLess = j.used
		}
		return j.used <= 1
	})
	for _, u := range units[:n] {
		f.Rows = append(f.Rows, u.ForcedUnit)
	}
	return failed
}

// rest keeps what was measured with the wide word for some rows.
func (f *Forced) rest(j judgement) {
	f.Rest, f.RestUsed = j.tightest, j.used
}

// describeUnits adds memory and stalls.
func (in *Inputs) describeUnits(p *prepared, r refusal, f *Forced, units []rankedUnit) {
	if r.width.word == quant.DenseWeights {
		return
	}
	memory := p.calibration.Layers[r.width.layer].Memory
	counts := r.narrow.Fixed.Count(in.Selection)
	for i := range f.Rows {
		u := &f.Rows[i]
		if memory != nil {
			u.Memory = memory[units[i].index]
		}
		if r.width.word == quant.StateWord {
			u.Stalled = counts.Layers[r.width.layer].Stalled[units[i].index]
		}
		u.Steps = counts.Steps
	}
}

// rowNames names what a word can be narrowed for one at a time: the units of a
// layer as trained, or outputs.
func (in *Inputs) rowNames(c Candidate, w width) []string {
	var names []string
	switch {
	case w.isHead(in):
		for _, o := range in.Float.Outputs {
			names = append(names, o.Name)
		}
	case w.word == quant.DenseWeights:
		for j := range in.Float.Net.Dense[w.layer].Outputs {
			names = append(names, fmt.Sprint(j))
		}
	default:
		for _, j := range c.Units[w.layer] {
			names = append(names,
				prune.UnitName(in.Float.Net, prune.Unit{Layer: w.layer, Index: j}))
		}
	}
	return names
}

// named is how many units a sentence lists.
const named = 6

// Explain says in words what forces a word.
func (f *Forced) Explain() string {
	var who []string
	for i, u := range f.Rows[:min(named, len(f.Rows))] {
		text := fmt.Sprintf("%s (%.0f %%", u.Name, 100*u.Share)
		if i == 0 {
			text += " of the error"
		}
		if u.Memory > 0 {
			text += fmt.Sprintf(", memory %.0f steps", u.Memory)
		}
		if u.Stalled > 0 {
			text += fmt.Sprintf(", stands still on %d of %d steps", u.Stalled, u.Steps)
		}
		who = append(who, text+")")
	}
	of := strings.TrimSuffix(f.Of, "s")
	if f.Of == unitRows {
		of = "trained unit"
	}
	if len(f.Rows) > 1 {
		of += "s"
	}
	forcing := fmt.Sprintf("%s %s", of, strings.Join(who, ", "))
	if more := len(f.Rows) - named; more > 0 {
		forcing += fmt.Sprintf(" and %d more", more)
	}
	text := fmt.Sprintf("int%d %s: with int%d, %s. It is forced by %s",
		f.Bits, f.What, f.Narrower, f.Tightest.reaches(), forcing)
	rest, less := shareOfTolerance(f.RestUsed), shareOfTolerance(f.OneLess)
	switch n := len(f.Rows); {
	case n == f.All && n == 1:
		return text
	case n == f.All:
		return fmt.Sprintf("%s: with int%d for %d of these %d alone, %s of a tolerance may be used",
			text, f.Bits, n-1, n, less)
	case n == 1:
		return fmt.Sprintf("%s: with int%d for 1 of %d %s alone, %s of a tolerance may be used",
			text, f.Bits, f.All, f.Of, rest)
	default:
		return fmt.Sprintf("%s: with int%d for %d of %d %s alone, %s of a tolerance may be used, "+
			"with %d of them %s", text, f.Bits, n, f.All, f.Of, rest, n-1, less)
	}
}
