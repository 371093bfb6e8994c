package main

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"kerf/budget"
)

// Draws of the part in which recordings are taken away; see README.md.
const (
	fewerDraws = 3
	fewerSeed  = 45_000
)

// perScenario are the numbers of sequences of every scenario that stay.
var perScenario = []int{10, 8, 6, 5, 4, 3, 2, 1}

// fewer returns the job with n sequences of every scenario for selection and for sign-off. The
// sequences of a smaller n are among those of a larger one.
func (d *draft) fewer(number uint64, n int) *draft {
	random := rand.New(rand.NewPCG(fewerSeed, number))
	c := *d
	keep := func(string) []int { return []int{n} }
	c.selection = d.selection.deal(random, 1, keep)[0]
	c.signoff = d.signoff.deal(random, 1, keep)[0]
	return &c
}

// productsOfPlan plans a job and returns the multiply-accumulates of one step of the chosen network
// and the verdict.
func productsOfPlan(d *draft) (macs int, verdict budget.Verdict, err error) {
	in, err := load(d)
	if err != nil {
		return 0, "", err
	}
	r, err := plan(in)
	if err != nil {
		return 0, "", err
	}
	kept := r.Chosen.Candidate
	return products(len(kept.Features), kept.UnitCount(), len(in.Float.Outputs)), r.Verdict, nil
}

// measureFewer plans the demo with fewer and fewer sequences.
func measureFewer(out *strings.Builder, _ string) error {
	d, err := readDraft(demoJob, ".")
	if err != nil {
		return err
	}
	out.WriteString("\n## Recordings taken away\n\n| draw |")
	for _, n := range perScenario {
		fmt.Fprintf(out, " %d |", n)
	}
	out.WriteString("\n|---|" + strings.Repeat("---:|", len(perScenario)) + "\n")
	steps, cheaper, most := 0, 0, 0.0
	for number := range uint64(fewerDraws) {
		fmt.Fprintf(out, "| %d |", number)
		before := 0
		for _, n := range perScenario {
			macs, verdict, err := productsOfPlan(d.fewer(number, n))
			if err != nil {
				return err
			}
			fmt.Fprintf(out, " %d, %s |", macs, verdict)
			if before > 0 {
				steps++
				if macs < before {
					cheaper++
					most = max(most, 1-float64(macs)/float64(before))
				}
			}
			before = macs
		}
		out.WriteString("\n")
	}
	fmt.Fprintf(out, "\nMultiply-accumulates of one step, by sequences per scenario. Cheaper "+
		"than with more sequences: %d of %d (demanded: none)", cheaper, steps)
	if cheaper > 0 {
		fmt.Fprintf(out, ", by %.1f %% at most", 100*most)
	}
	out.WriteString(".\n")
	return nil
}
