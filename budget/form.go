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

// forms are the forms that a job may ask for.
var forms = []cost.Form{cost.Fast, cost.Small}

// checkForm refuses a form that there is not.
func (in *Inputs) checkForm(i int, t Target) error {
	switch {
	case t.Code != "" && !slices.Contains(forms, t.Code):
		return in.Job.at(fault.DidYouMeanOr(string(t.Code), []string{"fast", "small"},
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
// for it: what the job says, and else the fast one, or where that exceeds the flash the one that
// breaks fewer limits, of equals by less.
func (in *Inputs) targetCosts(c Candidate, t Target) []Cost {
	if t.Code != "" {
		return in.costsWith(c, t, nil)
	}
	t.Code = cost.Fast
	fast := in.costsWith(c, t, nil)
	if !cost.HasSmall(t.Core.ISA) || !t.HasEstimates() || rowOf(fast, Flash).Verdict != Fail {
		return fast
	}
	t.Code = cost.Small
	if small := in.costsWith(c, t, nil); brokenPart(small).compare(brokenPart(fast)) < 0 {
		return small
	}
	return fast
}

// FormOf returns the form in which a candidate is built for a target.
func (in *Inputs) FormOf(c Candidate, t Target) cost.Form { return in.targetCosts(c, t)[0].Form }

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
	for _, c := range totals(costs) {
		if c.Verdict == Fail {
			p.broken++
			p.excess += c.Used() - 1
		}
	}
	return p
}

// rowOf returns the total of a resource among the rows of one target, which has one.
func rowOf(costs []Cost, resource Resource) Cost {
	all := totals(costs)
	return all[slices.IndexFunc(all, func(c Cost) bool { return c.Resource == resource })]
}

// FormCosts compares both forms, on the targets that have a small one, where they differ.
func (in *Inputs) FormCosts(c Candidate) []FormCost {
	var all []FormCost
	for _, t := range in.Targets {
		if !cost.HasSmall(t.Core.ISA) {
			continue
		}
		chosen, fast, small := in.FormOf(c, t), t, t
		fast.Code, small.Code = cost.Fast, cost.Small
		plain := totals(in.costsWith(c, small, nil))
		for i, row := range totals(in.costsWith(c, fast, nil)) {
			if row.Value != plain[i].Value {
				all = append(all, FormCost{t.Name, row.Resource, row.Unit, row.Value,
					plain[i].Value, chosen})
			}
		}
	}
	return all
}

// warnForms says on which targets the limit on flash has taken the small form, and what the other
// one would take.
func (r *Result) warnForms() {
	for _, t := range r.Inputs.Targets {
		for _, f := range r.Forms {
			if f.Target == t.Name && f.Resource == Flash && f.Chosen == cost.Small &&
				t.Code == "" {
				r.Warnings = append(r.Warnings, fmt.Sprintf("%s: plain C reads the weights, since "+
					"the limit on flash is %d B; with kernels in assembler the network takes "+
					"%.0f B", t.Name, *t.Flash, f.Fast))
			}
		}
	}
}
