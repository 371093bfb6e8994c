package budget

import (
	"fmt"
	"slices"

	"kerf/budget/cost"
	"kerf/fault"
)

// FormCost compares a total with the rows of weights read by kernels in assembler and by plain C.
type FormCost struct {
	Target   string    `json:"target"`
	Resource Resource  `json:"resource"`
	Unit     string    `json:"unit"`
	Fast     float64   `json:"fast"`
	Small    float64   `json:"small"`
	Chosen   cost.Form `json:"chosen"`
}

// checkForm refuses a form that there is not.
func (in *Inputs) checkForm(i int, t Target) error {
	switch {
	case t.Code != "" && t.Code != cost.Fast && t.Code != cost.Small:
		return in.Job.at(fault.DidYouMeanOr(string(t.Code),
			[]string{string(cost.Fast), string(cost.Small)},
			`code = "fast", or "small"; left out, kerf chooses`),
			fmt.Sprintf("there is no code that is %q", t.Code), "target", i, "code")
	case t.Code == cost.Small && !cost.HasSmall(t.Core.ISA):
		return in.Job.at("leave it out",
			fmt.Sprintf("on %s plain C is not smaller than the kernels in assembler", t.Core.Name),
			"target", i, "code")
	}
	return nil
}

// targetCosts gives the rows of one target as estimated, in the form in which a candidate is built
// for it: what the job says, and else the fast one; where that exceeds the flash, or flash is what
// the search minimises, the small one if it breaks fewer limits, or as many by no more.
func (in *Inputs) targetCosts(c Candidate, t Target) []Cost {
	if t.Code != "" {
		return in.costsWith(c, t, nil)
	}
	t.Code = cost.Fast
	fast := in.costsWith(c, t, nil)
	if !t.mayBeSmall() ||
		rowOf(fast, Flash).Verdict != Fail && in.Job.Search.Objective != Flash {
		return fast
	}
	if small, ok := in.smallOf(c, t, fast); ok {
		return small
	}
	return fast
}

// smallOf gives the rows of one target in the small form, given those in the fast one, and whether
// they break fewer limits, or as many by no more.
func (in *Inputs) smallOf(c Candidate, t Target, fast []Cost) (small []Cost, ok bool) {
	t.Code = cost.Small
	small = in.costsWith(c, t, nil)
	return small, brokenPart(small).compare(brokenPart(fast)) <= 0
}

// mayBeSmall reports whether the small form is a choice for a target, and known from estimates.
func (t Target) mayBeSmall() bool { return cost.HasSmall(t.Core.ISA) && t.HasEstimates() }

// leastFlash returns the total of flash of a candidate in the form that takes least of it without
// breaking more limits, given the total in its own form. How much room it leaves is compared by
// this, so that a network that just fits in the fast form is not dearer than a larger one that
// needs the small one.
func (in *Inputs) leastFlash(c Candidate, flash Cost) Cost {
	t := in.named(flash.Target)
	if t.Code != "" || flash.Form == cost.Small || !t.mayBeSmall() {
		return flash
	}
	if small, ok := in.smallOf(c, t, in.costsWith(c, t, nil)); ok {
		return rowOf(small, Flash)
	}
	return flash
}

// FormOf returns the form in which a candidate is built for a target.
func (in *Inputs) FormOf(c Candidate, t Target) cost.Form {
	return in.targetCosts(c, t)[0].Form
}

// formed returns the target with the form in which a candidate is built for it.
func (in *Inputs) formed(c Candidate, t Target) Target {
	t.Code = in.FormOf(c, t)
	return t
}

// costsLike gives every row of the cost of a candidate, built in the forms of other rows.
func (in *Inputs) costsLike(c Candidate, other []Cost) []Cost {
	var rows []Cost
	for _, t := range in.Targets {
		i := slices.IndexFunc(other, func(row Cost) bool { return row.Target == t.Name })
		t.Code = other[i].Form
		rows = append(rows, in.costsWith(c, t, nil)...)
	}
	return rows
}

// brokenPart is the part of a price that counts broken limits.
func brokenPart(costs []Cost) price {
	var p price
	for _, c := range brokenLimits(costs) {
		p.broken++
		p.excess += c.Used() - 1
	}
	return p
}

// rowOf returns the total of a resource among the rows of one target, which has one.
func rowOf(costs []Cost, resource Resource) Cost {
	all := totals(costs)
	return all[slices.IndexFunc(all, func(c Cost) bool { return c.Resource == resource })]
}

// named returns the target of that name, which the job has.
func (in *Inputs) named(target string) Target {
	i := slices.IndexFunc(in.Targets, func(t Target) bool { return t.Name == target })
	return in.Targets[i]
}

// FormCosts compares flash, stack and cycles of both forms, on the targets that have a small one,
// as far as there are estimates for them and they differ.
func (in *Inputs) FormCosts(c Candidate) []FormCost {
	var all []FormCost
	for _, t := range in.Targets {
		if !t.mayBeSmall() {
			continue
		}
		chosen, fast, small := in.FormOf(c, t), t, t
		fast.Code, small.Code = cost.Fast, cost.Small
		ofFast, ofSmall := in.costsWith(c, fast, nil), in.costsWith(c, small, nil)
		for _, resource := range []Resource{Flash, Stack, Cycles} {
			a, b := rowOf(ofFast, resource), rowOf(ofSmall, resource)
			if a.Value != b.Value {
				all = append(all,
					FormCost{t.Name, resource, a.Unit, a.Value, b.Value, chosen})
			}
		}
	}
	return all
}

// warnForms says on which targets the limit on flash has taken the small form, and what the other
// one would take.
func (r *Result) warnForms() {
	for _, f := range r.Forms {
		t := r.Inputs.named(f.Target)
		if f.Resource == Flash && f.Chosen == cost.Small && t.Code == "" && t.Flash != nil &&
			f.Fast > float64(*t.Flash) {
			r.Warnings = append(r.Warnings, fmt.Sprintf("%s: plain C reads the weights, since the "+
				"limit on flash is %d B; with kernels in assembler the network takes %.0f B",
				t.Name, *t.Flash, f.Fast))
		}
	}
}

// trySmall says that a limit on flash that a measured target breaks in the fast form may hold in
// the small one, which kerf has not chosen.
func (t Target) trySmall(rows []Cost) string {
	flash := rowOf(rows, Flash)
	if t.Code != "" || flash.Form == cost.Small || flash.Verdict != Fail ||
		!cost.HasSmall(t.Core.ISA) {
		return ""
	}
	return t.Name + `: kernels in assembler exceed the flash as measured; code = "small" in the ` +
		"target plans for plain C, which takes less"
}
