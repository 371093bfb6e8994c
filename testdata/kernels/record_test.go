package main

import (
	"math"
	"testing"
)

// The cycles of the functions that are counted apart add up to those of the step.
func TestFunctionsAddUpToTheStep(t *testing.T) {
	t.Chdir("../..")
	records, err := networkRecords.read()
	if err != nil {
		t.Fatal(err)
	}
	if len(records) < 750 {
		t.Fatalf("only %d measurements", len(records))
	}
	for _, r := range records {
		sum, code := 0.0, int64(0)
		for _, f := range r.Functions {
			sum, code = sum+f.Cycles, code+f.Code
		}
		if want := r.MeanCycles(); math.Abs(sum-want) > 1e-9*want {
			t.Errorf("%s on %s: functions take %g cycles, the step %g", r.Network, r.Profile, sum,
				want)
		}
		if code > r.Code() {
			t.Errorf("%s on %s: functions have %d bytes, all code %d", r.Network, r.Profile, code,
				r.Code())
		}
		if step := r.Functions["net_step"]; step == nil || step.Chain != r.StackChain {
			t.Errorf("%s on %s: the chain of calls of the step is not that of the network",
				r.Network, r.Profile)
		}
	}
}
