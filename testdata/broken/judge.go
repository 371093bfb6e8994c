package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"

	"kerf/budget"
	"kerf/dataset"
)

// harmfulRise is the ratio of errors, broken to unbroken, from which a job is harmful (README.md).
const harmfulRise = 1.5

// Outcomes of a broken job.
const (
	named    = "named"    // the first cause is right
	noticed  = "noticed"  // a finding, but the first cause is another
	refused  = "refused"  // the job cannot even be read
	missed   = "missed"   // harmful, and nothing was found
	harmless = "harmless" // nothing was found, and the error rises by less than half
)

// outcome is the result of kerf for one broken job.
type outcome struct {
	kind, job string
	number    int
	breakage
	before, after []float64 // RMSE per output on sign-off recordings, unbroken and broken
	causes        []budget.Cause
	refusal       string // error of reading the job; empty if it can be read
	verdict       string // of the whole plan; empty where a finding decides it
	word          string // named, noticed, ...
}

// rise returns the largest ratio of errors, broken to unbroken, over the outputs.
func (o *outcome) rise() float64 {
	most := 0.0
	for i := range o.after {
		most = max(most, o.after[i]/o.before[i])
	}
	return most
}

// isHarmful reports whether the job cannot be read or its errors rise by half.
func (o *outcome) isHarmful() bool { return o.refusal != "" || !(o.rise() < harmfulRise) }

// cause returns the first cause, or the refusal, as text.
func (o *outcome) cause() string {
	if len(o.causes) == 0 {
		return o.refusal
	}
	on := ""
	if o.causes[0].Signoff {
		on = " (sign-off)"
	}
	return fmt.Sprintf("%s: %s %s%s", o.causes[0].Kind, o.causes[0].Place, o.causes[0].Says, on)
}

// bench holds the unbroken jobs and their errors.
type bench struct {
	drafts   map[string]*draft    // by job
	unbroken map[string][]float64 // errors by job and deal, as far as they were needed
}

// newBench reads jobs of the repository, whose top is the folder root.
func newBench(root string, jobs ...string) (*bench, error) {
	b := &bench{drafts: map[string]*draft{}, unbroken: map[string][]float64{}}
	for _, job := range jobs {
		d, err := readDraft(job, root)
		if err != nil {
			return nil, err
		}
		b.drafts[job] = d
	}
	return b, nil
}

// load writes a job into a folder of its own, reads it as kerf does and removes the folder.
func load(d *draft) (*budget.Inputs, error) {
	dir, err := os.MkdirTemp("", "kerf-broken-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	path, err := d.write(dir)
	if err != nil {
		return nil, err
	}
	return budget.Load(path)
}

// errorsOf returns the RMSE of every output of the network as given on the sign-off recordings, in
// the order of the names.
func errorsOf(in *budget.Inputs) []float64 {
	score := dataset.Measure(in.Float, in.Signoff, nil)
	names := dataset.OutputNames(in.Float.Outputs)
	var all []float64
	for _, name := range slices.Sorted(slices.Values(names)) {
		all = append(all,
			score.Value(score, dataset.Slice{Output: slices.Index(names, name), Region: -1},
				dataset.RMSE))
	}
	return all
}

// plan makes the whole plan.
func plan(in *budget.Inputs) (*budget.Result, error) {
	ctx, pl := context.Background(), budget.NewPlanner(in)
	cut, err := pl.FindCut(ctx, func(int) {})
	if err != nil {
		return nil, err
	}
	chosen, err := pl.Choose(ctx, cut)
	if err != nil {
		return nil, err
	}
	return pl.Assess(ctx, cut, chosen)
}

// judge draws a broken job and returns the outcome. With whole it plans the job if nothing is
// found, and the first job of every kind in any case.
func (b *bench) judge(set string, k *kind, n int, whole bool) (*outcome, error) {
	d, broken := k.draw(set, n, b.drafts)
	o := &outcome{kind: k.name, job: d.job, number: n, breakage: broken}
	key := fmt.Sprint(d.job, n%dealsDrawn)
	if b.unbroken[key] == nil {
		in, err := load(b.drafts[d.job].dealt(uint64(n % dealsDrawn)))
		if err != nil {
			return nil, err
		}
		b.unbroken[key] = errorsOf(in)
	}
	o.before = b.unbroken[key]
	in, err := load(d)
	if err != nil {
		o.refusal, o.word = strings.ReplaceAll(err.Error(), "\n", " "), refused
		return o, nil
	}
	o.after = errorsOf(in)
	e, err := budget.NewPlanner(in).Examine(context.Background())
	if err != nil {
		return nil, err
	}
	o.causes = e.Causes
	switch {
	case len(o.causes) > 0 && o.names(&o.causes[0]):
		o.word = named
	case len(o.causes) > 0:
		o.word = noticed
	case o.isHarmful():
		o.word = missed
	default:
		o.word = harmless
	}
	if !whole || len(o.causes) > 0 && n > 0 {
		return o, nil
	}
	if r, err := plan(in); err != nil {
		o.verdict = "no plan: " + strings.ReplaceAll(err.Error(), "\n", " ")
	} else {
		o.verdict = string(r.Verdict)
	}
	return o, nil
}

// ratio prints a ratio of errors.
func ratio(v float64) string {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return "∞"
	}
	return fmt.Sprintf("%.3g", v)
}
