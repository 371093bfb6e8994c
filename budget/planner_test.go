package budget_test

import (
	"bytes"
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"

	"kerf/budget"
	"kerf/exporter/report"
)

// signedOff plans a job with recovery training and returns the sign-off in JSON.
func signedOff(in *budget.Inputs) ([]byte, error) {
	ctx, pl := context.Background(), budget.NewPlanner(in)
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
	result, err := pl.Assess(ctx, cut, chosen)
	if err != nil {
		return nil, err
	}
	return report.NewSignoff(result, "test").JSON()
}

// Two plans on one set of inputs, at the same time, sign the same as one alone. make test runs this
// test under the race detector.
func TestTwoPlansOnTheSameInputs(t *testing.T) {
	epochs := 1
	in := leakageInputs().WithRecovery(&epochs)
	alone, err := signedOff(in)
	if err != nil {
		t.Fatal(err)
	}
	var both [2][]byte
	var failed [2]error
	var wait sync.WaitGroup
	for i := range both {
		wait.Go(func() { both[i], failed[i] = signedOff(in) })
	}
	wait.Wait()
	for i, signoff := range both {
		if failed[i] != nil {
			t.Fatal(failed[i])
		}
		if !bytes.Equal(signoff, alone) {
			t.Errorf("plan %d of two signs something else than one alone:\n%s\n%s", i, signoff,
				alone)
		}
	}
	// That the sign-off depends on the plan at all.
	words, err := in.WithFormats("int16", "int32")
	if err != nil {
		t.Fatal(err)
	}
	if other, err := signedOff(words); err != nil || bytes.Equal(other, alone) {
		t.Errorf("other words give the same sign-off (%v)", err)
	}
	if again, err := signedOff(in); err != nil || !bytes.Equal(again, alone) {
		t.Errorf("after a plan with other words the inputs give another sign-off (%v)", err)
	}
}

// ending is a context that ends after so many looks at it.
type ending struct {
	context.Context
	looks atomic.Int64 // that are left; below 0 it has ended
}

func (e *ending) Err() error {
	if e.looks.Add(-1) < 0 {
		return context.Canceled
	}
	return nil
}

// endsAfter returns a context that ends after so many looks.
func endsAfter(looks int64) *ending {
	e := &ending{Context: context.Background()}
	e.looks.Store(looks)
	return e
}

const never = 1 << 40

// A context that ends in the middle of a search ends the search: no round follows.
func TestFindCutEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	calls := 0
	cut, err := budget.NewPlanner(leakageInputs()).FindCut(ctx, func(int) {
		calls++
		cancel()
	})
	if cut != nil || !errors.Is(err, context.Canceled) || calls != 1 {
		t.Errorf("%v after %d calls of progress", err, calls)
	}
}

// Every method that may take long returns the error of its context, whenever that ends: after the
// first look, in the middle, before the last.
func TestMethodsEndWithTheirContext(t *testing.T) {
	in := leakageInputs().WithRecovery(new(int))
	*in.Job.Recovery.Epochs = 1
	ctx, quiet := context.Background(), func(int, int) {}
	prepared := budget.NewPlanner(in)
	cut, err := prepared.FindCut(ctx, func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	chosen, err := prepared.Choose(ctx, cut)
	if err != nil {
		t.Fatal(err)
	}
	standings, err := in.RankTargets(chosen.Candidate)
	if err != nil {
		t.Fatal(err)
	}
	standings[0].Broken = standings[0].Costs[:1] // so that remedies are looked for
	byHand := func() *budget.Cut { return budget.CutByHand(chosen.Candidate) }
	for name, c := range map[string]struct {
		least int64 // looks
		call  func(ctx context.Context, pl *budget.Planner) error
	}{
		"ScoreFeatures": {3, func(ctx context.Context, pl *budget.Planner) error {
			return pl.ScoreFeatures(ctx, nil)
		}},
		"FindCut": {20, func(ctx context.Context, pl *budget.Planner) error {
			_, err := pl.FindCut(ctx, func(int) {})
			return err
		}},
		"Choose": {10, func(ctx context.Context, pl *budget.Planner) error {
			_, err := pl.Choose(ctx, byHand())
			return err
		}},
		"Recover": {10, func(ctx context.Context, pl *budget.Planner) error {
			_, err := pl.Recover(ctx, cut, chosen, nil, budget.TrainingProgress{})
			return err
		}},
		"Assess": {20, func(ctx context.Context, pl *budget.Planner) error {
			_, err := pl.Assess(ctx, cut, chosen)
			return err
		}},
		"Examine": {10, func(ctx context.Context, pl *budget.Planner) error {
			_, err := pl.Examine(ctx)
			return err
		}},
		"CompareMethods": {3, func(ctx context.Context, pl *budget.Planner) error {
			_, err := pl.CompareMethods(ctx, chosen.Candidate)
			return err
		}},
		"Remedies": {3, func(ctx context.Context, pl *budget.Planner) error {
			_, err := pl.Remedies(ctx, byHand(), chosen, standings, func(int, int) {})
			return err
		}},
		"Sizes": {10, func(ctx context.Context, pl *budget.Planner) error {
			// The table is that of a planner that has chosen.
			cut, err := pl.FindCut(ctx, func(int) {})
			if err != nil {
				return err
			}
			chosen, err := pl.Choose(ctx, cut)
			if err != nil {
				return err
			}
			_, err = pl.Sizes(ctx, chosen, quiet)
			return err
		}},
	} {
		whole := endsAfter(never)
		if err := c.call(whole, budget.NewPlanner(in)); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		looks := never - whole.looks.Load()
		t.Logf("%s looks %d times", name, looks)
		if looks < c.least {
			t.Errorf("%s looks at its context %d times, should be %d or more", name, looks,
				c.least)
		}
		for _, after := range []int64{0, 1, looks / 4, looks / 2, looks - 1} {
			err := c.call(endsAfter(after), budget.NewPlanner(in))
			if !errors.Is(err, context.Canceled) {
				t.Errorf("%s: %v when the context ends after %d of %d looks", name, err, after,
					looks)
			}
		}
	}
}
