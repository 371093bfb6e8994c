package main

import (
	"context"
	"fmt"
	"math"
	"strings"

	"kerf/budget"
)

// dealsUnbroken is how often the recordings of every job are dealt anew.
const dealsUnbroken = 20

// sound is the examination of an unbroken job on one deal.
type sound struct {
	deal      uint64
	causes    []budget.Cause
	nearest   *budget.Cause
	explained []float64 // least share of either set, by output
}

// examine examines an unbroken job on one deal.
func (b *bench) examine(job string, deal uint64) (*sound, error) {
	in, err := load(b.drafts[job].dealt(deal))
	if err != nil {
		return nil, err
	}
	e, err := budget.NewPlanner(in).Examine(context.Background())
	if err != nil {
		return nil, err
	}
	s := &sound{deal: deal, causes: e.Causes}
	for _, o := range in.Float.Outputs {
		least := math.Inf(1)
		for _, x := range e.Explained {
			if x.IsEverywhere() && x.Output == o.Name {
				least = min(least, x.Given)
			}
		}
		s.explained = append(s.explained, least)
	}
	return s, nil
}

// near returns the ratio of errors of the nearest alternative, 1 if there is none.
func (s *sound) near() float64 {
	if s.nearest == nil {
		return 1
	}
	return s.nearest.Ratio
}

// measureUnbroken prints the table of jobs without faults.
func measureUnbroken(out *strings.Builder, _ string) error {
	b, err := newBench(".", append(allJobs, slowJob)...)
	if err != nil {
		return err
	}
	out.WriteString("\n## Without faults\n\n| job | verdict as it is | deals | with a finding | " +
		"least explained | nearest miss | where |\n|---|---|---:|---:|---:|---:|---|\n")
	var found []string
	for _, job := range append(allJobs, slowJob) {
		in, err := load(b.drafts[job])
		if err != nil {
			return err
		}
		r, err := plan(in)
		if err != nil {
			return err
		}
		least, alarms := math.Inf(1), 0
		var nearest *sound
		for deal := range uint64(dealsUnbroken + 1) {
			s, err := b.examine(job, deal)
			if err != nil {
				return err
			}
			for _, share := range s.explained {
				least = min(least, share)
			}
			if nearest == nil || s.near() < nearest.near() {
				nearest = s
			}
			if len(s.causes) > 0 {
				alarms++
				found = append(found,
					fmt.Sprintf("- %s, deal %d: %s\n", job, deal, s.causes[0].String()))
			}
		}
		where := ""
		if c := nearest.nearest; c != nil {
			where = fmt.Sprintf("deal %d, %s: %s %s", nearest.deal, c.Output, c.Place, c.Says)
		}
		fmt.Fprintf(out, "| %s | %s | %d | %d | %.0f %% | %.3f | %s |\n", job, r.Verdict,
			dealsUnbroken+1, alarms, 100*least, nearest.near(), where)
	}
	out.WriteString("\n" + strings.Join(found, ""))
	return nil
}
