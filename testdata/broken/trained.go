package main

import (
	"context"
	"fmt"
	"os"
	"strings"

	"kerf/budget"
)

// Numbers of splits that are planned with [recovery] too, the first ones of the others, and how
// often each training of the demo runs over the recordings at most: by default that is some hundred
// times, and a plan takes ten minutes or more.
const (
	trainedDemoSplits = 10
	trainedOpenSplits = 20
	trainedDemoEpochs = 20
)

// training is how a plan trains: at most so many epochs; nil: as many as kerf takes by itself.
type training struct{ epochs *int }

// planTrained makes the whole plan with [recovery].
func planTrained(in *budget.Inputs, t training) (*budget.Result, error) {
	ctx, pl := context.Background(), budget.NewPlanner(in.WithRecovery(t.epochs))
	cut, err := pl.FindCut(ctx, func(int) {})
	if err != nil {
		return nil, err
	}
	chosen, err := pl.Choose(ctx, cut)
	if err != nil {
		return nil, err
	}
	if chosen, err = pl.Recover(ctx, cut, chosen, nil, budget.TrainingProgress{}); err != nil {
		return nil, err
	}
	return pl.Assess(ctx, cut, chosen)
}

// sums adds up plans of one kind.
type sums struct {
	plans, fits, macs int
	above             int // plans with a row above its tolerance on the sign-off recordings
	passed, broken    int // rows
	brokenFits        int // plans that fit and have a row above its tolerance on the third part
}

func (t *sums) add(s *split) {
	t.plans++
	t.macs += s.macs
	t.passed += s.passed
	t.broken += len(s.broken)
	if len(s.above) > 0 {
		t.above++
	}
	if s.verdict == budget.Fits {
		t.fits++
		if len(s.broken) > 0 {
			t.brokenFits++
		}
	}
}

// measureTrained plans the first splits with and without [recovery].
func measureTrained(out *strings.Builder, _ string) error {
	out.WriteString("\n## With recovery training\n\n| splits | | plans | mean " +
		"multiply-accumulates | above a tolerance on sign-off | fits | of these above one on the " +
		"third part | rows that pass | of these above on the third part " +
		"|\n|---|---|---:|---:|---:|---:|---:|---:|---:|\n")
	demoEpochs := trainedDemoEpochs
	demo, err := readDraft(demoJob, ".")
	if err != nil {
		return err
	}
	demoAll, err := demoPool(demo)
	if err != nil {
		return err
	}
	open, err := readDraft(cityJob, ".")
	if err != nil {
		return err
	}
	openAll := openPool(open)
	var list []string
	for _, of := range []struct {
		name   string
		draft  *draft
		splits int
		rule   training
		parts  func(n int) []*recording
	}{
		{"open data", open, trainedOpenSplits, training{},
			func(n int) []*recording { return openParts(openAll, n) }},
		{"demo", demo, trainedDemoSplits, training{&demoEpochs},
			func(n int) []*recording { return demoParts(demoAll, n) }},
	} {
		var without, replaced, trained, with sums
		for n := range of.splits {
			s, err := planSplit(of.draft, of.parts(n), "", &of.rule)
			if err != nil {
				return err
			}
			without.add(s)
			taken := s
			if s.trained != nil {
				taken = s.trained
				replaced.add(s)
				trained.add(taken)
				for _, row := range taken.above {
					list = append(list, fmt.Sprintf("- %s, split %d, sign-off: %s\n", of.name, n,
						row))
				}
				for _, row := range taken.broken {
					list = append(list, fmt.Sprintf("- %s, split %d, third part: %s\n", of.name,
						n, row))
				}
			}
			with.add(taken)
			fmt.Fprintf(os.Stderr, "%s %d: %d -> %d multiply-accumulates, trained %t, %s -> %s, "+
				"sign-off %v -> %v, third part %v -> %v\n", of.name, n, s.macs, taken.macs,
				s.trained != nil, s.verdict, taken.verdict, s.above, taken.above, s.broken,
				taken.broken)
		}
		for _, row := range []struct {
			name string
			of   sums
		}{{"without training", without}, {"with [recovery]", with},
			{"where it took a trained network: without", replaced},
			{"the same: that network", trained}} {
			t := row.of
			fmt.Fprintf(out, "| %s | %s | %d | %.0f | %d | %d | %d | %d | %d |\n", of.name,
				row.name, t.plans, float64(t.macs)/float64(max(1, t.plans)), t.above, t.fits,
				t.brokenFits, t.passed, t.broken)
		}
	}
	fmt.Fprintf(out, "\nAllowed with [recovery] as without: of the plans of the demo that fit "+
		"one in "+
		"forty, of the rows of the open data that pass 2.5 %%. Above a tolerance after "+
		"training:\n\n%s", strings.Join(list, ""))
	return nil
}
