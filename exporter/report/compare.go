package report

import (
	"fmt"
	"slices"

	"kerf/budget"
)

// Comparison is what changed from one handoff to another.
type Comparison struct {
	Old     ComparedSide  `json:"old"`
	New     ComparedSide  `json:"new"`
	Verdict Outcome       `json:"verdict"` // Better, Worse, Mixed, Same or NotComparable
	Why     string        `json:"why"`     // errors cannot be compared; empty: they can
	Inputs  []InputChange `json:"inputs"`  // files that differ
	// features, units and front ends that one of the two has alone
	Items   []ItemChange   `json:"items"`
	Formats []FormatChange `json:"formats"` // words that differ
	// rows that either judges; without any, the first metric of every place
	Loss     []LossChange `json:"loss"`
	Cost     []CostChange `json:"cost"`     // totals
	Warnings []string     `json:"warnings"` // what limits the comparison
	Caution  string       `json:"caution"`
}

// ComparedSide is one of the two handoffs.
type ComparedSide struct {
	Name     string         `json:"name"`
	Kerf     string         `json:"kerf"` // version
	Verdict  budget.Verdict `json:"verdict"`
	Features int            `json:"features"`
	Units    int            `json:"units"`
	Network  string         `json:"network"`
	Formats  string         `json:"formats"`
	// compilers with their options, and the targets that figures of code hold for; empty without
	// targets
	Builds string `json:"builds"`
}

// InputChange is an input file whose content differs; a hash is empty where a side has no such
// file.
type InputChange struct {
	Role budget.Role `json:"role"`
	File string      `json:"file"`
	Old  string      `json:"old_sha256"`
	New  string      `json:"new_sha256"`
}

// ItemChange is a feature, a unit or the front end of the trained network that one of the two has
// alone.
type ItemChange struct {
	Item   string `json:"item"` // feature, unit or front_end
	Name   string `json:"name"`
	Change string `json:"change"` // "in" or "out"
}

// FormatChange is the word of a tensor; 0 bits where a side has no such tensor.
type FormatChange struct {
	Layer  string `json:"layer"`
	Tensor string `json:"tensor"`
	Old    int    `json:"old_word_bits"`
	New    int    `json:"new_word_bits"`
}

// LossChange compares the error of the integer networks in one row of the accuracy, pair by pair
// over the sign-off sequences.
type LossChange struct {
	budget.RowName
	Unit         string             `json:"unit"` // empty: a share
	Old          *float64           `json:"old"`
	OldLow       *float64           `json:"old_low"`
	OldHigh      *float64           `json:"old_high"`
	New          *float64           `json:"new"`
	NewLow       *float64           `json:"new_low"`
	NewHigh      *float64           `json:"new_high"`
	Change       *float64           `json:"change"` // see [dataset.Change]
	ChangeLow    *float64           `json:"change_low"`
	ChangeHigh   *float64           `json:"change_high"`
	ToleranceOn  budget.ToleranceOn `json:"tolerance_on"` // empty where neither is judged
	OldTolerance *float64           `json:"old_tolerance"`
	NewTolerance *float64           `json:"new_tolerance"`
	OldVerdict   budget.Verdict     `json:"old_verdict"`
	NewVerdict   budget.Verdict     `json:"new_verdict"`
	Outcome      Outcome            `json:"outcome"`
	Why          string             `json:"why"` // the row is not comparable
}

// CostChange compares one total.
type CostChange struct {
	Target   string          `json:"target"`
	Resource budget.Resource `json:"resource"`
	Unit     string          `json:"unit"`
	Old      *float64        `json:"old"`
	New      *float64        `json:"new"`
	Change   *float64        `json:"change"` // new less old; nil: one has no estimate
	// how far the change may be off, as its parts are estimates
	Unknown    float64        `json:"unknown"`
	OldLimit   *float64       `json:"old_limit"`
	NewLimit   *float64       `json:"new_limit"`
	OldVerdict budget.Verdict `json:"old_verdict"`
	NewVerdict budget.Verdict `json:"new_verdict"`
	Outcome    Outcome        `json:"outcome"`
}

// Outcome is what a comparison says of a row or of all rows.
type Outcome string

// Outcomes of a comparison.
const (
	Better        Outcome = "better"
	Worse         Outcome = "worse"
	Mixed         Outcome = "mixed" // of all rows: some are better, some worse
	Same          Outcome = "same"  // no difference within what was measured
	NotComparable Outcome = "not comparable"
	OnlyOld       Outcome = "only in old"
	OnlyNew       Outcome = "only in new"
)

// Compare compares a fresh handoff with an old one. Errors are those of the integer networks on the
// same steps, whatever else differs; a row is better or worse when the 95 % interval of the change
// excludes 0 and the change is a tenth of the tolerance or more, a cost when the change exceeds the
// largest deviation of its estimated parts. Where figures leave the outcome open, a verdict that
// changed decides, if it is about the same.
func Compare(old, fresh *Signoff) *Comparison {
	ordered := fresh.Sums.inOrderOf(old.Sums)
	if ordered != nil {
		same := *fresh
		same.Sums = ordered
		fresh = &same
	}
	c := &Comparison{
		Old: side(old), New: side(fresh), Inputs: inputChanges(old, fresh),
		Items: itemChanges(old, fresh), Formats: formatChanges(old, fresh),
		Warnings: []string{}, Caution: Caution,
	}
	c.Why = apart(old, fresh, ordered != nil)
	c.Loss = c.lossChanges(old, fresh)
	c.Cost = costChanges(old, fresh)
	if c.Why == "" && len(c.Loss) > 0 && !isSameNetwork(old, fresh) {
		c.Warnings = append(c.Warnings, "the networks as given differ: errors are compared with "+
			"each other, not with those of the network that each was made of")
	}
	if n := c.judgedUnlike(); n > 0 {
		c.Warnings = append(c.Warnings, fmt.Sprintf("the tolerance or limit of %s differs: there "+
			"a verdict that changed says nothing", Plural(n, "row")))
	}
	if old.Kerf != fresh.Kerf {
		c.Warnings = append(c.Warnings, "the handoffs were made by different versions of kerf: "+
			"estimates may differ for that reason alone")
	}
	c.Verdict = c.overall()
	if c.Verdict == NotComparable && c.Why == "" {
		isApart := func(l LossChange) bool { return l.Outcome == NotComparable }
		if at := slices.IndexFunc(c.Loss, isApart); at >= 0 {
			c.Why = c.Loss[at].Text() + ": " + c.Loss[at].Why
		} else {
			c.Why = "one of the two has no estimate for the flags of its job"
		}
	}
	return c
}

// side is made of a sign-off.
func side(s *Signoff) ComparedSide {
	return ComparedSide{s.Name, s.Kerf, s.Verdict, s.Network.Features, s.Network.Units,
		s.Network.Kept, s.Network.Formats, s.builds()}
}

// byVerdict returns the outcome where both are judged and the verdicts differ, else an empty one.
func byVerdict(old, fresh budget.Verdict) Outcome {
	a, b := verdictRank(old), verdictRank(fresh)
	switch {
	case a < 0 || b < 0 || a == b:
		return ""
	case b > a:
		return Better
	}
	return Worse
}

// judgedUnlike counts the rows that both have and whose tolerances or limits differ.
func (c *Comparison) judgedUnlike() int {
	n := 0
	for _, l := range c.Loss {
		if l.Old != nil && l.New != nil && !isSameValue(l.OldTolerance, l.NewTolerance) {
			n++
		}
	}
	for _, r := range c.Cost {
		if r.Old != nil && r.New != nil && !isSameValue(r.OldLimit, r.NewLimit) {
			n++
		}
	}
	return n
}

// isSameValue reports whether two values are equal, or neither is there.
func isSameValue(a, b *float64) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}

// overall returns the outcome over all rows. A verdict of the handoff that got worse counts
// whatever the rows say; one that got better does not where other tolerances and limits alone may
// have made it so.
func (c *Comparison) overall() Outcome {
	found := map[Outcome]bool{}
	for _, l := range c.Loss {
		found[l.Outcome] = true
	}
	for _, r := range c.Cost {
		found[r.Outcome] = true
	}
	order := []budget.Verdict{budget.DoesNotFit, budget.NotEnough, budget.NoEstimate,
		budget.Fits}
	step := slices.Index(order, c.New.Verdict) - slices.Index(order, c.Old.Verdict)
	isBetter := found[Better] || step > 0 && c.judgedUnlike() == 0
	switch {
	case c.Why != "":
		return NotComparable
	case step < 0:
		return Worse
	case isBetter && found[Worse]:
		return Mixed
	case found[Worse]:
		return Worse
	case found[NotComparable]:
		return NotComparable
	case isBetter:
		return Better
	}
	return Same
}
