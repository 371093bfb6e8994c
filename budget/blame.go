package budget

import (
	"fmt"
	"math"
	"slices"
)

// Blame says which word a broken tolerance comes from, by what wider ones give on the selection
// recordings, each by itself.
type Blame struct {
	Row  Loss       // the row that is broken, as the choice has it there
	Step *WidthStep // the wider word with which it may reach the least; nil if none lessens it
	With Loss       // the row with that word
}

// blame looks at the row that is broken by the most; nil if none is, or if wider words were not
// tried. A row that the network as given does not keep comes after those that it keeps.
func (r *Result) blame(pl *Planner) *Blame {
	if r.Chosen.Wider == nil {
		return nil
	}
	rows := pl.assess(r.Chosen.heldOut).rows
	var broken []Loss
	for _, l := range rows {
		if l.MayReach > l.Allowed() {
			broken = append(broken, l)
		}
	}
	if len(broken) == 0 {
		for _, l := range r.Loss {
			if at := slices.IndexFunc(rows, l.sameRow); l.Verdict == Fail && at >= 0 {
				broken = append(broken, rows[at])
			}
		}
	}
	if len(broken) == 0 {
		return nil
	}
	worst := broken[0]
	for _, l := range broken[1:] {
		worse := l.used() > worst.used()
		if given := l.GivenBreaks(); given != worst.GivenBreaks() {
			worse = !given
		}
		if worse {
			worst = l
		}
	}
	b := &Blame{Row: worst}
	if math.IsInf(worst.FloatMayReach, 1) {
		return nil // one selection sequence says nothing of others, which is said elsewhere
	}
	if worst.GivenBreaks() {
		return b
	}
	least := worst.MayReach
	for i := range r.Chosen.Wider {
		step := &r.Chosen.Wider[i]
		if row := step.row(worst); row.MayReach < least {
			b.Step, b.With, least = step, row, row.MayReach
		}
	}
	return b
}

// row is what a row may reach with the word of a step.
func (s *WidthStep) row(l Loss) Loss { return s.rows[slices.IndexFunc(s.rows, l.sameRow)] }

// RowMayReach is what the row of a blame may reach with the word of a step; NaN where none was
// measured.
func (b *Blame) RowMayReach(s WidthStep) float64 {
	if b == nil || s.rows == nil {
		return math.NaN()
	}
	return s.row(b.Row).MayReach
}

// GivenBreaks reports whether the network as given does not keep the tolerance of a row either.
func (l Loss) GivenBreaks() bool { return l.FloatMayReach > l.Allowed() }

// sameRow reports whether two rows are about the same.
func (l Loss) sameRow(o Loss) bool {
	return l.RowName == o.RowName && l.Judged == o.Judged && l.Relative == o.Relative
}

// String is the blame in a sentence.
func (b *Blame) String() string {
	row := b.Row.figure()
	if b.Row.GivenBreaks() {
		text := b.Row.apart(b.Row.MayReach, b.Row.Allowed(), b.Row.FloatMayReach)
		return fmt.Sprintf("no word is to blame: on the selection recordings the network as "+
			"given itself may reach %s in %s, tolerance %s, and the choice %s", text[2], row,
			text[1], text[0])
	}
	if b.Step == nil {
		text := b.Row.apart(b.Row.MayReach, b.Row.Allowed())
		return fmt.Sprintf("the words are not to blame: no wider one lessens what %s may reach "+
			"on the selection recordings (%s, tolerance %s)", row, text[0], text[1])
	}
	text := b.Row.apart(b.With.MayReach, b.Row.Allowed(), b.Row.MayReach)
	what, bits := b.Step.What, b.Step.Bits
	with := fmt.Sprintf("which costs %d bytes more, %s may reach %s instead of %s on the "+
		"selection recordings, tolerance %s", -b.Step.Saved, row, text[0], text[2], text[1])
	switch {
	case b.Row.MayReach <= b.Row.Allowed():
		return fmt.Sprintf("a wider word leaves more room: with int%d for the %s, %s",
			bits, what, with)
	case b.With.MayReach <= b.Row.Allowed():
		return fmt.Sprintf("the %s are to blame: with int%d for them, %s", what, bits, with)
	}
	return fmt.Sprintf("the %s are to blame in part: with int%d for them, %s", what, bits, with)
}
