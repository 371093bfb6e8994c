package budget

import (
	"slices"
	"strings"
	"testing"
)

// A limit on memory and the life of a battery say what they leave out, or judge it: ram is data
// alone, ram_total takes the stack with it.
func TestAssumptionsStandBesideTheirFigures(t *testing.T) {
	assessed := func(resource Resource, more string) *Result {
		in := mustCity(t, "epochs = 1",
			[3]string{"job.toml", `ram = "1 KiB"`, string(resource) + ` = "1 KiB"` + "\n" + more})
		pl, cut := NewPlanner(in), CutByHand(in.Whole(in.widest().Formats))
		chosen, err := pl.Choose(t.Context(), cut)
		if err != nil {
			t.Fatal(err)
		}
		r, err := pl.Assess(t.Context(), cut, chosen)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	notes := func(r *Result, text string) (of string) {
		at := slices.IndexFunc(r.Warnings, func(w string) bool { return strings.Contains(w, text) })
		if at >= 0 {
			of = r.Warnings[at]
		}
		return of
	}
	const battery = "battery = \"230 mAh\"\nactive_current = \"4 mA\"\nsleep_current = \"2 uA\"\n"
	data, both := assessed(RAM, ""), assessed(RAMTotal, battery)
	if note := notes(data, "ram is data alone"); !strings.HasPrefix(note,
		"cortex-m4f, cortex-m0plus: ") {
		t.Errorf("limits on data: %q", note)
	}
	if note := notes(both, "ram is data alone"); !strings.HasPrefix(note, "cortex-m4f: ") {
		t.Errorf("one limit on data, one on all memory: %q", note)
	}
	if notes(data, "battery life") != "" ||
		!strings.HasPrefix(notes(both, "battery life"), "cortex-m0plus: ") {
		t.Errorf("battery life: %q and %q", data.Warnings, both.Warnings)
	}
	value := func(resource Resource) float64 {
		return ValueOf(both.Costs, "cortex-m0plus", resource, Total)
	}
	sum := value(RAM) + value(Stack)
	if got := value(RAMTotal); got != sum || value(Stack) < 100 {
		t.Errorf("data and stack take %g B, together %g", sum, got)
	}
	for _, c := range totals(both.Costs) {
		if c.Target == "cortex-m0plus" && c.Resource == RAMTotal &&
			(c.Limit != 1024 || (c.Verdict == Fail) != (sum > 1024)) {
			t.Errorf("ram_total: %+v", c)
		}
	}
}

// Three long sequences can be judged, by blocks of their steps; three short ones cannot.
func TestThreeLongSequencesAreJudged(t *testing.T) {
	for steps, want := range map[int]Verdict{3000: Pass, 9: NotEnough} {
		in := handMade(t, [][3]float64{{1, 0, 0}, {0, 1, 0}}, []float64{0, 0}, steps, 0.2)
		in.Selection.Sequences = in.Selection.Sequences[:3]
		in.Signoff = in.Selection
		in.Selection.Memory = in.Float.Memory(in.Selection)
		pl, cut := NewPlanner(in), CutByHand(in.start(in.widest().Formats))
		chosen, err := pl.Choose(t.Context(), cut)
		if err != nil {
			t.Fatal(err)
		}
		// The fixed network errs a little more, alike everywhere.
		chosen.Fixed.Dense[0].Weights.Bias[0] += 1 << (chosen.Fixed.OutputFraction(0) - 5)
		r := &Result{Inputs: in, Cut: cut, Chosen: chosen}
		r.Loss = pl.lossRows(in.Signoff, r.scoresOn(in.Signoff), true)
		for _, l := range r.Loss {
			if l.Output != "y0" || l.Scenario != "all" {
				continue
			}
			if l.Verdict != want || want == Pass && l.Blocks == 0 {
				t.Errorf("%d steps: %s with %d blocks, rise %.3f up to %.3f", steps, l.Verdict,
					l.Blocks, l.Rise, l.RiseHigh)
			}
		}
	}
}
