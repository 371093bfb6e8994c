package budget

import (
	"math"
	"slices"
	"testing"

	"kerf/budget/cost"
	"kerf/dataset"
	"kerf/frontend"
)

// sampledInputs is inputsFor with three of its features computed from two channels of 64 samples:
// a is amplitude(1) and b level of one channel, d the swing of the other.
func sampledInputs(t *testing.T, rule TargetRule) *Inputs {
	t.Helper()
	in := inputsFor(t, rule)
	in.Job.FrontEnds, in.Job.Raw = in.Job.FrontEnds[:1], &RawRule{Window: 64, Rate: 6400,
		Period: 0.1}
	in.Float.Features[1].FrontEnd, in.Float.Features[3].FrontEnd = "", ""
	for i := range in.Float.Features {
		in.Float.Features[i].Std = 1
	}
	channel := frontend.Channel{Name: "supply", Cycles: 4, Floor: 1,
		Converter: frontend.Converter{Low: 0, High: 250, Bits: 12}}
	other := channel
	other.Name = "drain"
	kinds := []frontend.Definition{{Kind: frontend.Amplitude, Order: 1}, {Kind: frontend.Level},
		{Kind: frontend.Swing}}
	in.Raw = &Raw{Features: []int{0, 1, 3}, FrontEnd: frontend.FrontEnd{
		Sampling: dataset.Sampling{Samples: 64, Rate: 6400, Period: 0.1},
		Channels: []frontend.Channel{channel, other}}}
	for i, d := range kinds {
		in.Raw.FrontEnd.Features = append(in.Raw.FrontEnd.Features,
			frontend.Feature{Name: in.Float.Features[in.Raw.Features[i]].Name, Definition: d,
				Channel: i / 2, Scale: 1})
	}
	in.Targets[0].Pause, in.Targets[0].Interval = in.Job.Raw.pause(), 1./6400
	in.Targets[0].Period = &in.Job.Raw.Period
	return in
}

// Data by hand: 16 sums of 16 bits (64 samples of four cycles), the number of the sample and
// whether the window is full, a byte each, two ends of 16 bits: 38 B. Tables: a turn of 16 sines
// and a quarter more, 40 B, 15 angles of 4 B, the list of harmonics, 1 and an end, a byte each, and
// 16 B for each feature.
func TestSampledSizesByHand(t *testing.T) {
	in := sampledInputs(t, TargetRule{Clock: 1e6})
	costs := in.Costs(in.Whole(small))
	if got := find(t, costs, RAM, FrontStatePart); got.Value != 38 || got.Kind != Exact {
		t.Errorf("%+v", got)
	}
	if got := find(t, costs, Flash, FrontTablesPart); got.Value != 40+60+2+4*16 ||
		got.Kind != Exact {
		t.Errorf("%+v", got)
	}
	if got := find(t, costs, Flash, FrontCodePart); got.Value < 100 || got.Kind != Estimated {
		t.Errorf("%+v", got)
	}
}

// A step is 64 calls of name_sample, one of name_features, the network and what is declared; the
// time of a step begins with the last sample, duty counts all of them.
func TestSampledTimesAddUp(t *testing.T) {
	wait := &WaitRule{Fetch: 0.5, Jump: 1, Data: 2}
	for _, rule := range []TargetRule{{Clock: 1e6}, {Clock: 1e6, FlashWait: wait}} {
		in := sampledInputs(t, rule)
		c, core := in.Whole(small), in.Targets[0].Core
		front := cost.OfFrontEnd(in.integers(c), 1, core, in.Targets[0].flashWait(), false)
		network := cost.Of(in.Shape(c), core, in.Targets[0].flashWait(), false, cost.Fast).Total()
		costs := in.Costs(c)
		near := func(resource Resource, part string, want float64) {
			t.Helper()
			if got := find(t, costs, resource, part).Value; math.Abs(got-want) > 1e-9*want {
				t.Errorf("%s: %s is %g, want %g", resource, part, got, want)
			}
		}
		declared := 500.
		near(Cycles, SamplingPart, 64*front.Sample.Cycles)
		near(Cycles, FeaturesPart, front.Features.Cycles)
		near(Cycles, Total, 64*front.Sample.Total()+front.Features.Total()+network+declared)
		near(StepTime, Total, (front.Last.Total()+front.Features.Total()+network+declared)/1e6)
		near(Duty, Total,
			(64*front.Sample.Total()+front.Features.Total()+network+declared)/1e6/0.1)
		near(Interrupt, Total, front.Longest.Total())
		near(InterruptTime, Total, front.Longest.Total()/1e6)
		near(FeaturesTime, Total, (front.Last.Total()+front.Features.Total())/1e6)
		sum := 0.0
		for _, row := range costs {
			if row.Resource == Cycles && row.Part != Total {
				sum += row.Value
			}
		}
		near(Cycles, Total, sum)
		if front.Sample.Wait > 0 != (rule.FlashWait != nil) {
			t.Errorf("waits %g cycles", front.Sample.Wait)
		}
	}
}

// The features must be there when the next window begins, 0.1 s - 63/6400 s after the last sample,
// whatever the job says; a tighter limit of the job holds.
func TestFeaturesTimeIsAlwaysLimited(t *testing.T) {
	long, short := Seconds(1), Seconds(1e-6)
	for _, c := range []struct {
		rule    *Seconds
		limit   float64
		verdict Verdict
	}{{nil, 0.1 - 63./6400, Pass}, {&long, 0.1 - 63./6400, Pass}, {&short, 1e-6, Fail}} {
		in := sampledInputs(t, TargetRule{Clock: 32e6, FeaturesTime: c.rule})
		got := find(t, in.Costs(in.Whole(small)), FeaturesTime, Total)
		if math.Abs(got.Limit-c.limit) > 1e-12 || got.Verdict != c.verdict {
			t.Errorf("%+v, want %g, %s", got, c.limit, c.verdict)
		}
	}
}

// A call of name_sample must end before the next one, 1/6400 s later, whatever the job says.
func TestInterruptTimeIsAlwaysLimited(t *testing.T) {
	long, short := Seconds(1), Seconds(1e-9)
	for _, c := range []struct {
		clock   Hertz
		rule    *Seconds
		limit   float64
		verdict Verdict
	}{{32e6, nil, 1. / 6400, Pass}, {32e6, &long, 1. / 6400, Pass}, {32e6, &short, 1e-9, Fail},
		{1e5, nil, 1. / 6400, Fail}} {
		in := sampledInputs(t, TargetRule{Clock: c.clock, InterruptTime: c.rule})
		got := find(t, in.Costs(in.Whole(small)), InterruptTime, Total)
		if math.Abs(got.Limit-c.limit) > 1e-12 || got.Verdict != c.verdict {
			t.Errorf("%+v, want %g, %s", got, c.limit, c.verdict)
		}
	}
}

// All calls of name_sample, the features and the network must fit into a period, whatever the job
// says; a tighter limit of the job holds.
func TestDutyIsLimitedWhereSamplesAreTaken(t *testing.T) {
	long, short := Percent(1.5), Percent(0.001)
	for _, c := range []struct {
		rule    *Percent
		clock   Hertz
		limit   float64
		verdict Verdict
	}{{nil, 32e6, 1, Pass}, {nil, 4e4, 1, Fail}, {&long, 4e4, 1, Fail},
		{&short, 32e6, 0.001, Fail}} {
		in := sampledInputs(t, TargetRule{Clock: c.clock, Duty: c.rule})
		row := find(t, in.Costs(in.Whole(small)), Duty, Total)
		if row.Limit != c.limit || row.Verdict != c.verdict {
			t.Errorf("%v at %v: %+v, want %+v", c.rule, c.clock, row, c)
		}
	}
	in := sampledInputs(t, TargetRule{Clock: 6e4})
	in.Targets[0].Interval = 0 // step_time is judged against the period
	if row := find(t, in.Costs(in.Whole(small)), Duty, Total); row.Verdict != "" {
		t.Errorf("without samples: %+v", row)
	}
}

// Rows are the same for every candidate of a job; without any computed feature nothing is taken.
func TestSampledRowsOfACandidateWithoutComputedFeatures(t *testing.T) {
	in := sampledInputs(t, TargetRule{Clock: 1e6})
	whole := in.Costs(in.Whole(small))
	c := in.Whole(small)
	c.Features = []int{2}
	for i, row := range in.Costs(c) {
		if row.Resource != whole[i].Resource || row.Part != whole[i].Part {
			t.Fatalf("%s: %s stands where the whole network has %s: %s", row.Resource, row.Part,
				whole[i].Resource, whole[i].Part)
		}
		isFront := slices.Contains(notNetwork[2:], row.Part) || row.Resource == Interrupt ||
			row.Resource == InterruptTime || row.Resource == FeaturesTime
		if isFront && row.Value != 0 {
			t.Errorf("%s: %s takes %g", row.Resource, row.Part, row.Value)
		}
	}
}

// What a feature frees follows from what the others still need: of level and amplitude, which share
// sums, the level frees its scale of 16 B alone, the amplitude the sums as well, 32 B less the sum
// of 4 B that the level then keeps by itself.
func TestFreedByFeaturesThatShareSums(t *testing.T) {
	in := sampledInputs(t, TargetRule{Clock: 1e6})
	taken := func(features ...int) (state, tables float64) {
		c := in.Whole(small)
		c.Features = features
		f := in.frontCost(c, in.Targets[0], nil)
		return f.state, f.tables
	}
	state, tables := taken(0, 1, 2, 3)
	for _, c := range []struct {
		features      []int
		state, tables float64
	}{
		{[]int{0, 2, 3}, 0, 16},
		// a byte each, 4 B and twice 2 B stay, and 2 B fill
		{[]int{1, 2, 3}, 38 - 12, 16 + 60 + 40 + 2},
		{[]int{0, 1, 2}, 4, 16},
		{[]int{2}, 38, 40 + 60 + 2 + 4*16},
	} {
		s, tb := taken(c.features...)
		if state-s != c.state || tables-tb != c.tables {
			t.Errorf("%v: frees %g B of state, %g B of tables; want %g, %g", c.features, state-s,
				tables-tb, c.state, c.tables)
		}
	}
}

// Measured calls stand in the place of estimates, and the sums with them.
func TestMeasuredFrontEnd(t *testing.T) {
	in := sampledInputs(t, TargetRule{Clock: 1e6})
	in.Job.FrontEnds = nil
	rows := in.costsWith(in.Whole(small), in.Targets[0], &Measurement{Target: "cortex-m3",
		Flash: 1000, RAM: 6, Stack: 100, Cycles: 2000, Front: &FrontMeasurement{Flash: 700, RAM: 38,
			SampleStack: 8, FeaturesStack: 200, Sampling: 1600, Last: 30, Longest: 33,
			Features: 900}})
	for _, want := range []struct {
		resource Resource
		part     string
		value    float64
	}{
		{Flash, FrontCodePart, 700 - 166}, {Flash, Total, 1700}, {Stack, Total, 208},
		{Cycles, SamplingPart, 1600}, {Cycles, FeaturesPart, 900}, {Cycles, Total, 4500},
		{StepTime, Total, 2930e-6}, {Interrupt, Total, 33}, {FeaturesTime, Total, 930e-6},
	} {
		got := find(t, rows, want.resource, want.part)
		if math.Abs(got.Value-want.value) > 1e-9*want.value || got.Kind != Measured {
			t.Errorf("%s: %s is %g, %s; want %g", want.resource, want.part, got.Value, got.Kind,
				want.value)
		}
	}
}
