package exporter

import (
	"math"
	"slices"

	"kerf/budget"
	"kerf/dataset"
)

// Comparison is what changed from one handoff to another.
type Comparison struct {
	Old      ComparedSide   `json:"old"`
	New      ComparedSide   `json:"new"`
	Verdict  string         `json:"verdict"`  // Better, Worse, Mixed or Same
	Inputs   []InputChange  `json:"inputs"`   // files that differ
	Items    []ItemChange   `json:"items"`    // features, units and front ends that one of the two has alone
	Formats  []FormatChange `json:"formats"`  // words that differ
	Loss     []LossChange   `json:"loss"`     // rows that either judges; without any, the first metric of every place
	Cost     []CostChange   `json:"cost"`     // totals
	Warnings []string       `json:"warnings"` // what limits the comparison
	Caution  string         `json:"caution"`
}

// ComparedSide is one of the two.
type ComparedSide struct {
	Name     string `json:"name"`
	Kerf     string `json:"kerf"` // version
	Verdict  string `json:"verdict"`
	Features int    `json:"features"`
	Units    int    `json:"units"`
	Network  string `json:"network"`
	Formats  string `json:"formats"`
}

// InputChange is an input file whose content differs; a hash is empty where a side has no such file.
type InputChange struct {
	Role string `json:"role"`
	File string `json:"file"`
	Old  string `json:"old_sha256"`
	New  string `json:"new_sha256"`
}

// ItemChange is a feature, a unit or the front end of the trained network that one of the two has alone.
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

// LossChange compares one row of the accuracy.
type LossChange struct {
	Output       string   `json:"output"`
	Scenario     string   `json:"scenario"`
	Region       string   `json:"region"`
	Metric       string   `json:"metric"`
	On           string   `json:"on"`   // what is compared: "rise" on the same network and recordings, else "fixed"
	Unit         string   `json:"unit"` // empty: a share
	Old          *float64 `json:"old"`
	OldLow       *float64 `json:"old_low"`
	OldHigh      *float64 `json:"old_high"`
	New          *float64 `json:"new"`
	NewLow       *float64 `json:"new_low"`
	NewHigh      *float64 `json:"new_high"`
	OldTolerance *float64 `json:"old_tolerance"`
	NewTolerance *float64 `json:"new_tolerance"`
	OldVerdict   string   `json:"old_verdict"`
	NewVerdict   string   `json:"new_verdict"`
	Outcome      string   `json:"outcome"`
}

// CostChange compares one total.
type CostChange struct {
	Target     string   `json:"target"`
	Resource   string   `json:"resource"`
	Unit       string   `json:"unit"`
	Old        *float64 `json:"old"`
	New        *float64 `json:"new"`
	Change     *float64 `json:"change"`  // new less old
	Unknown    float64  `json:"unknown"` // how far the change may be off, as its parts are estimates
	OldLimit   *float64 `json:"old_limit"`
	NewLimit   *float64 `json:"new_limit"`
	OldVerdict string   `json:"old_verdict"`
	NewVerdict string   `json:"new_verdict"`
	Outcome    string   `json:"outcome"`
}

// Outcomes of a comparison. Same means: no difference within what was measured.
const (
	Better  = "better"
	Worse   = "worse"
	Mixed   = "mixed" // of the whole: some rows better, some worse
	Same    = "same"
	OnlyOld = "only in old"
	OnlyNew = "only in new"
)

// Compare says what changed from old to new. A row is better or worse when its verdict changes, or when its figures differ by more
// than is known of them: the 95 % intervals of a loss do not overlap; the change of a cost exceeds what its estimated parts may be off.
func Compare(old, fresh *Signoff) *Comparison {
	c := &Comparison{
		Old: side(old), New: side(fresh), Inputs: inputChanges(old, fresh), Items: itemChanges(old, fresh), Formats: formatChanges(old, fresh),
		Warnings: []string{}, Caution: Caution,
	}
	paired := c.isUnchanged("model") && c.isUnchanged("signoff")
	c.Loss = lossChanges(old, fresh, paired)
	c.Cost = costChanges(old, fresh)
	c.Verdict = c.whole()
	if !c.isUnchanged("signoff") {
		c.Warnings = append(c.Warnings, "the sign-off recordings differ: errors of the two are of different steps")
	} else if !paired {
		c.Warnings = append(c.Warnings, "the trained networks differ: errors are compared, not their rise against each one's own float network")
	}
	if old.Kerf != fresh.Kerf {
		c.Warnings = append(c.Warnings, "the handoffs were made by different versions of kerf: estimates may differ for that reason alone")
	}
	return c
}

func side(s *Signoff) ComparedSide {
	return ComparedSide{s.Name, s.Kerf, s.Verdict, s.Network.Features, s.Network.Units, s.Network.Kept, s.Network.Formats}
}

// isUnchanged tells whether the files of a role are the same.
func (c *Comparison) isUnchanged(role string) bool {
	return !slices.ContainsFunc(c.Inputs, func(i InputChange) bool { return i.Role == role })
}

// verdictRank orders verdicts; -1 is none.
func verdictRank(v string) int {
	return slices.Index([]string{budget.Fail, budget.NotEnough, budget.Pass}, v)
}

// byVerdict is the outcome where both are judged and the verdicts differ, else empty.
func byVerdict(old, fresh string) string {
	a, b := verdictRank(old), verdictRank(fresh)
	switch {
	case a < 0 || b < 0 || a == b:
		return ""
	case b > a:
		return Better
	}
	return Worse
}

// whole is the verdict on all rows: that of the handoffs decides where it changed.
func (c *Comparison) whole() string {
	order := []string{budget.DoesNotFit, budget.NotEnough, budget.Fits}
	if a, b := slices.Index(order, c.Old.Verdict), slices.Index(order, c.New.Verdict); a != b {
		if b > a {
			return Better
		}
		return Worse
	}
	found := map[string]bool{}
	for _, l := range c.Loss {
		found[l.Outcome] = true
	}
	for _, r := range c.Cost {
		found[r.Outcome] = true
	}
	switch {
	case found[Better] && found[Worse]:
		return Mixed
	case found[Better]:
		return Better
	case found[Worse]:
		return Worse
	}
	return Same
}

// lossChanges pairs the rows that either side judges; where neither judges any, those of the first metric.
func lossChanges(old, fresh *Signoff, paired bool) []LossChange {
	type key struct{ output, scenario, region, metric, on string }
	name := func(l LossRow) key { return key{l.Output, l.Scenario, l.Region, l.Metric, l.ToleranceOn} }
	isJudged := func(l LossRow) bool { return l.Verdict != "" }
	wanted := isJudged
	if !slices.ContainsFunc(old.Loss, isJudged) && !slices.ContainsFunc(fresh.Loss, isJudged) && len(fresh.Loss) > 0 {
		first := fresh.Loss[0].Metric
		wanted = func(l LossRow) bool { return l.Metric == first }
	}
	changes := []LossChange{}
	seen := map[key]bool{}
	before := map[key]LossRow{}
	for _, l := range old.Loss {
		before[name(l)] = l
	}
	for _, l := range fresh.Loss {
		if !wanted(l) {
			continue
		}
		seen[name(l)] = true
		was, there := before[name(l)]
		if !there {
			changes = append(changes, onlyLoss(l, OnlyNew))
			continue
		}
		changes = append(changes, lossChange(was, l, paired))
	}
	for _, l := range old.Loss {
		if wanted(l) && !seen[name(l)] {
			changes = append(changes, onlyLoss(l, OnlyOld))
		}
	}
	return changes
}

func onlyLoss(l LossRow, outcome string) LossChange {
	c := LossChange{Output: l.Output, Scenario: l.Scenario, Region: l.Region, Metric: l.Metric, On: "fixed", Unit: l.Unit, Outcome: outcome}
	if outcome == OnlyNew {
		c.New, c.NewLow, c.NewHigh, c.NewTolerance, c.NewVerdict = &l.Fixed, l.FixedLow, l.FixedHigh, l.Tolerance, l.Verdict
	} else {
		c.Old, c.OldLow, c.OldHigh, c.OldTolerance, c.OldVerdict = &l.Fixed, l.FixedLow, l.FixedHigh, l.Tolerance, l.Verdict
	}
	return c
}

// lossChange compares the rise where both are against the same float network on the same steps, whose own spread then drops out;
// else the errors themselves.
func lossChange(old, fresh LossRow, paired bool) LossChange {
	c := LossChange{
		Output: fresh.Output, Scenario: fresh.Scenario, Region: fresh.Region, Metric: fresh.Metric, On: "fixed", Unit: fresh.Unit,
		Old: &old.Fixed, OldLow: old.FixedLow, OldHigh: old.FixedHigh, New: &fresh.Fixed, NewLow: fresh.FixedLow, NewHigh: fresh.FixedHigh,
		OldTolerance: old.Tolerance, NewTolerance: fresh.Tolerance, OldVerdict: old.Verdict, NewVerdict: fresh.Verdict, Outcome: Same,
	}
	moreIsBetter := IsShare(fresh.Metric)
	if paired && old.Rise != nil && fresh.Rise != nil {
		c.On, c.Unit = "rise", ""
		c.Old, c.OldLow, c.OldHigh, c.New, c.NewLow, c.NewHigh = old.Rise, old.RiseLow, old.RiseHigh, fresh.Rise, fresh.RiseLow, fresh.RiseHigh
		moreIsBetter = false
	}
	switch verdict := byVerdict(old.Verdict, fresh.Verdict); {
	case verdict != "":
		c.Outcome = verdict
	case c.OldLow == nil || c.OldHigh == nil || c.NewLow == nil || c.NewHigh == nil || fresh.Metric == string(dataset.MaxError):
		// a figure without an interval, such as a maximum, tells nothing beyond its verdict
	case *c.NewLow > *c.OldHigh || *c.NewHigh < *c.OldLow:
		isLess := *c.New < *c.Old
		if fresh.Metric == string(dataset.Bias) {
			isLess = math.Abs(*c.New) < math.Abs(*c.Old)
		}
		c.Outcome = Worse
		if isLess != moreIsBetter {
			c.Outcome = Better
		}
	}
	return c
}
