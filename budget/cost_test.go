package budget

import (
	"math"
	"slices"
	"testing"

	"kerf/dataset"
	"kerf/model"
	"kerf/prune"
	"kerf/quant"
	"kerf/targets"
)

// widths are formats of one recurrent and one dense layer.
func widths(state int) quant.Formats {
	return quant.Formats{Layers: []quant.LayerFormats{{InputBits: 8, RecurrentBits: 8,
		StateBits: state}}, Dense: []int{16}}
}

var small = widths(16)

// inputsFor has a network of 4 features in two cost groups, 3 units and 1 output.
func inputsFor(t *testing.T, rule TargetRule) *Inputs {
	t.Helper()
	core, err := targets.Load("cortex-m3")
	if err != nil {
		t.Fatal(err)
	}
	rule.Name = core.Name
	features := []dataset.Feature{{Name: "a"}, {Name: "b", FrontEnd: "one"},
		{Name: "c", FrontEnd: "one"}, {Name: "d", FrontEnd: "two"}}
	layer := &model.Recurrent{Kind: model.GRUResetAfter, Inputs: 4, Units: 3}
	head := &model.Dense{Inputs: 3, Outputs: 1}
	return &Inputs{
		Job: &Job{FrontEnds: []FrontEnd{
			{Name: "one", Flash: 1000, RAM: 100, Cycles: map[string]float64{"cortex-m3": 500}},
			{Name: "two", Flash: 200, RAM: 20, Cycles: map[string]float64{"cortex-m3": 70}},
		}},
		Float: dataset.NewFloat(&model.Network{Recurrent: []*model.Recurrent{layer},
			Dense: []*model.Dense{head}}, features, []dataset.Output{{Name: "o"}}),
		Targets: []Target{{TargetRule: rule, Core: core}},
	}
}

func find(t *testing.T, costs []Cost, resource Resource, part string) Cost {
	t.Helper()
	i := slices.IndexFunc(costs, func(c Cost) bool {
		return c.Resource == resource && c.Part == part
	})
	if i < 0 {
		t.Fatalf("no row %s: %s", resource, part)
	}
	return costs[i]
}

// Sizes by hand: 9 rows of 4 and of 3 int8 weights and one row of 3 int16 weights, in groups of 4
// rows with 4 biases of 4 bytes, tiles of 4 by 2 weights and 4 shifts: 3 (16 + 2 * 8 + 4) twice and
// 16 + 2 * 16 + 4 are 268 bytes. State: 3 int16 and one that makes them even. Table: 257 nodes and
// one behind them for the lowest int16, 258 int16.
func TestSizesByHand(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 1e6})
	costs := in.Costs(in.Whole(small))
	for _, c := range []struct {
		resource Resource
		part     string
		value    float64
		kind     Kind
	}{
		{Flash, "weights", 268, Exact},
		{Flash, "tables", 516, Exact},
		{Flash, "front_end", 1200, Estimated},
		{RAM, "state", 8, Exact},
		{RAM, "front_end", 120, Estimated},
		{RAM, Total, 128, Estimated},
		{Cycles, "front_end", 570, Estimated},
	} {
		got := find(t, costs, c.resource, c.part)
		if got.Value != c.value || got.Kind != c.kind {
			t.Errorf("%s: %s is %g, %s; want %g, %s", c.resource, c.part, got.Value, got.Kind,
				c.value, c.kind)
		}
	}
	if stack := find(t, costs, Stack, Total); stack.Kind != Bounded || stack.Value <= 6 {
		t.Errorf("stack is %g, %s", stack.Value, stack.Kind)
	}
}

// A total is the sum of its parts, and as good as the weakest of them.
func TestTotals(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 1e6})
	sums := map[Resource]float64{}
	costs := in.Costs(in.Whole(small))
	for _, c := range costs {
		if c.Part != Total {
			sums[c.Resource] += c.Value
		}
	}
	for _, resource := range []Resource{Flash, RAM, Cycles} {
		if total := find(t, costs, resource, Total); math.Abs(total.Value-sums[resource]) > 1e-9 ||
			total.Kind != Estimated {
			t.Errorf("%s: total %g (%s), the parts sum to %g", resource, total.Value, total.Kind,
				sums[resource])
		}
	}
	if time := find(t, costs, StepTime, Total); math.Abs(time.Value-sums[Cycles]/1e6) > 1e-12 {
		t.Errorf("step time %g s at 1 MHz, cycles %g", time.Value, sums[Cycles])
	}
	in.Job.FrontEnds = nil
	if ram := find(t, in.Costs(in.Whole(small)), RAM, Total); ram.Kind != Exact || ram.Value != 8 {
		t.Errorf("RAM without front end is %g, %s", ram.Value, ram.Kind)
	}
}

func TestFrontEndIsFreedWithItsLastFeature(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 1e6})
	whole := in.Whole(small)
	for _, c := range []struct {
		gone  []int
		flash float64
		freed []string
	}{
		{[]int{0}, 1200, nil},
		{[]int{1}, 1200, nil},
		{[]int{1, 2}, 200, []string{"one"}},
		{[]int{3}, 1000, []string{"two"}},
		{[]int{1, 2, 3}, 0, []string{"one", "two"}},
	} {
		candidate := whole
		candidate.Features = prune.Without(4, c.gone...)
		if got := find(t, in.Costs(candidate), Flash, "front_end").Value; got != c.flash {
			t.Errorf("without features %v the front end takes %g B, want %g", c.gone, got, c.flash)
		}
		_, freed := in.FrontEnds(candidate)
		var names []string
		for _, g := range freed {
			names = append(names, g.Name)
		}
		if !slices.Equal(names, c.freed) {
			t.Errorf("without features %v freed are %v, want %v", c.gone, names, c.freed)
		}
	}
}

func TestLimits(t *testing.T) {
	bytes := func(n Bytes) *Bytes { return &n }
	seconds := func(s Seconds) *Seconds { return &s }
	in := inputsFor(t, TargetRule{Clock: 1e6, RAM: bytes(128), Flash: bytes(100),
		StepTime: seconds(10), Period: seconds(1e-6)})
	costs := in.Costs(in.Whole(small))
	for resource, want := range map[Resource]Verdict{RAM: Pass, Flash: Fail, Stack: "", Cycles: "",
		StepTime: Fail} {
		if got := find(t, costs, resource, Total); got.Verdict != want {
			t.Errorf("%s: verdict %q, want %q", resource, got.Verdict, want)
		}
	}
	ram := find(t, costs, RAM, Total)
	if margin := ram.Margin(); margin != 0 {
		t.Errorf("a limit that is just met has margin %g", margin)
	}
	if limit := find(t, costs, StepTime, Total).Limit; limit != 1e-6 {
		t.Errorf("step time is limited to %g s, the period is 1e-6 s", limit)
	}
}

// Each further feature, unit, output or bit costs cycles and flash, never less.
func TestCostGrows(t *testing.T) {
	in := inputsFor(t, TargetRule{Clock: 1e6})
	smaller := in.Whole(small)
	smaller.Features, smaller.Units = []int{0, 1}, [][]int{{0, 1}}
	for name, larger := range map[string]Candidate{
		"a feature":     {Features: []int{0, 1, 2}, Units: smaller.Units, Formats: small},
		"a unit":        {Features: smaller.Features, Units: [][]int{{0, 1, 2}}, Formats: small},
		"a wider state": {Features: smaller.Features, Units: smaller.Units, Formats: widths(32)},
	} {
		a, b := in.Costs(smaller), in.Costs(larger)
		for _, resource := range []Resource{Flash, Cycles} {
			if before, after := find(t, a, resource, Total).Value,
				find(t, b, resource, Total).Value; after <= before {
				t.Errorf("%s more: %s goes from %g to %g", name, resource, before, after)
			}
		}
	}
}

// The profile of a target may be a file of the job's own.
func TestKnownProfiles(t *testing.T) {
	in := &Inputs{Targets: []Target{{Core: &targets.Profile{Name: "ours"}}}}
	for name, want := range map[string]bool{"ours": true, "cortex-m3": true, "theirs": false} {
		if got := slices.Contains(in.profileNames(), name); got != want {
			t.Errorf("%s is known: %v, want %v", name, got, want)
		}
	}
}
