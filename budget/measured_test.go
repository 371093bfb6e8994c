package budget

import (
	"math"
	"testing"

	"kerf/quant"
)

// Measured figures stand in the parts that were measured, by hand: 268 B of weights and 516 B of
// tables (TestSizesByHand) leave 216 of 1,000 B for the code; the front ends of the job stay
// estimates, 1,200 B and 570 cycles, and so do the sums with them.
func TestMeasuredByHand(t *testing.T) {
	limit := Bytes(2199)
	in := inputsFor(t, TargetRule{Clock: 1e6, Flash: &limit})
	c := in.Whole(small)
	r := &Result{Inputs: in, Chosen: &Chosen{Candidate: c, Fixed: &quant.Network{}},
		Costs: in.Costs(c)}
	estimated := r.Costs
	r.TakeMeasured([]Measurement{{Target: "cortex-m3", Flash: 1000, RAM: 8, Stack: 100,
		Cycles: 2000, Times: StepTimes{Text: "one step"}, ToolNames: []string{"gcc"},
		ToolVersion: []string{"12"}}})
	for _, want := range []struct {
		resource  Resource
		part      string
		value     float64
		kind      Kind
		estimated Kind // empty: no estimate beside it
		verdict   Verdict
	}{
		{Flash, "weights", 268, Exact, "", ""},
		{Flash, "code", 216, Measured, Estimated, ""},
		{Flash, Total, 2200, Estimated, Estimated, Fail},
		{RAM, "state", 8, Exact, "", ""},
		{Stack, Total, 100, Measured, Bounded, ""},
		{Cycles, "network", 2000, Measured, Estimated, ""},
		{Cycles, Total, 2570, Estimated, Estimated, ""},
		{StepTime, Total, 2570e-6, Estimated, Estimated, ""},
	} {
		got := find(t, r.Costs, want.resource, want.part)
		if math.Abs(got.Value-want.value) > 1e-9*want.value || got.Kind != want.kind ||
			got.Estimated != want.estimated || got.Verdict != want.verdict {
			t.Errorf("%s: %s is %+v, want %+v", want.resource, want.part, got, want)
		}
		if was := ValueOf(estimated, "cortex-m3", want.resource, want.part); want.estimated != "" &&
			got.Estimate != was {
			t.Errorf("%s: %s has the estimate %g beside it, want %g", want.resource, want.part,
				got.Estimate, was)
		}
	}
	if r.Verdict != DoesNotFit || len(r.Warnings) != 1 {
		t.Errorf("verdict %s, warnings %q", r.Verdict, r.Warnings)
	}
}

// Without front ends the sums are measured too, and so is the time of a step.
func TestMeasuredSumsWithoutFrontEnds(t *testing.T) {
	flash := Bytes(2000)
	in := inputsFor(t, TargetRule{Clock: 1e6, Flash: &flash})
	in.Job.FrontEnds = nil
	c := in.Whole(small)
	r := &Result{Inputs: in, Chosen: &Chosen{Candidate: c, Fixed: &quant.Network{}},
		Costs: in.Costs(c)}
	r.TakeMeasured([]Measurement{{Target: "cortex-m3", Flash: 1000, RAM: 10, Stack: 100,
		Cycles: 2000}})
	for _, resource := range []Resource{Flash, Stack, Cycles, StepTime, RAM} {
		if got := find(t, r.Costs, resource, Total); got.Kind != Measured {
			t.Errorf("%s is %s", resource, got.Kind)
		}
	}
	if r.Verdict != Fits {
		t.Errorf("verdict %s", r.Verdict)
	}
}

// The parts of the cycles are those of the functions of the emitted C, in its order, and add up to
// the total.
func TestCyclePartsAddUp(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 1e6})
	costs := in.Costs(in.Whole(small))
	var names []string
	sum := 0.0
	for _, c := range costs {
		if c.Resource == Cycles && c.Part != Total {
			names, sum = append(names, c.Part), sum+c.Value
		}
	}
	want := []string{"l0_input_products", "l0_recurrent_products", "l0_gates", "head", "call",
		"front_end"}
	if len(names) != len(want) {
		t.Fatalf("parts %q, want %q", names, want)
	}
	for i := range want {
		if names[i] != want[i] {
			t.Errorf("parts %q, want %q", names, want)
		}
	}
	if total := find(t, costs, Cycles, Total).Value; math.Abs(sum-total) > 1e-9*total {
		t.Errorf("the parts add up to %g cycles, the total is %g", sum, total)
	}
}
