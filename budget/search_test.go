package budget

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"kerf/dataset"
	"kerf/fault"
	"kerf/model"
	"kerf/prune"
	"kerf/quant"
)

// searchedBy runs the search of a planner and the choice of words.
func searchedBy(t *testing.T, pl *Planner) (*Cut, *Chosen) {
	t.Helper()
	cut, err := pl.FindCut(t.Context(), func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	chosen, err := pl.Choose(t.Context(), cut)
	if err != nil {
		t.Fatal(err)
	}
	return cut, chosen
}

// searched is searchedBy for a job.
func searched(t *testing.T, in *Inputs) (*Cut, *Chosen, *Frontier) {
	t.Helper()
	pl := NewPlanner(in)
	cut, chosen := searchedBy(t, pl)
	return cut, chosen, pl.Frontier(cut, chosen)
}

// summary is what a search found, in a form that can be compared.
func summary(f *Frontier) []string {
	var lines []string
	for _, c := range f.Candidates {
		lines = append(lines, fmt.Sprint(c.ID, c.Change, c.Candidate, c.Used, c.Share, c.OnFrontier,
			c.Chosen, c.Verdict, c.Reason.String()))
	}
	return lines
}

// Laws of every frontier: what is on it is beaten by nobody that was measured in the same way, what
// is not on it is beaten by somebody; one candidate is chosen, it is within every tolerance in
// fixed point, and no cheaper one is, nor might be; all others say why not.
func TestLawsOfTheFrontier(t *testing.T) {
	in := mustCity(t, "epochs = 1")
	_, chosen, f := searched(t, in)
	values := func(c FrontierCandidate) []float64 {
		v := []float64{c.Used}
		for _, cost := range c.Costs {
			if cost.Part == Total &&
				slices.Contains([]Resource{Flash, RAM, Cycles}, cost.Resource) {
				v = append(v, cost.Value)
			}
		}
		return v
	}
	beats := func(a, b FrontierCandidate) bool {
		x, y := values(a), values(b)
		better := false
		for i := range x {
			if x[i] > y[i] {
				return false
			}
			better = better || x[i] < y[i]
		}
		return better
	}
	count, choices := 0, 0
	for _, c := range f.Candidates {
		beaten, equalBefore := false, false
		for _, other := range f.Candidates {
			if other.Fixed == c.Fixed {
				beaten = beaten || beats(other, c)
				equalBefore = equalBefore || other.ID < c.ID &&
					slices.Equal(values(other), values(c))
			}
		}
		if c.OnFrontier == (beaten || equalBefore) {
			t.Errorf("candidate %d (%s): on the frontier %v, beaten %v, equal to one before %v",
				c.ID, c.Change, c.OnFrontier, beaten, equalBefore)
		}
		if c.OnFrontier {
			count++
		}
		if c.From != nil && c.From.ID >= c.ID || (c.From == nil) != (c.ID == 0) {
			t.Errorf("candidate %d is made of %v", c.ID, c.From)
		}
		switch {
		case c.Chosen:
			choices++
			same := slices.Equal(c.Candidate.Features, chosen.Candidate.Features)
			if !c.Within() || !c.Fixed || c.Verdict != Fits || c.Reason.Kind != "" || !same {
				t.Errorf("chosen: %+v", c)
			}
			for _, other := range f.Candidates {
				tried := slices.ContainsFunc(f.Candidates, func(o FrontierCandidate) bool {
					return o.Fixed && o.From == other.Point
				})
				if !tried && other.Within() && other.price.compare(c.price) < 0 {
					t.Errorf("candidate %d is cheaper, within, and was not rounded", other.ID)
				}
			}
		case c.Reason.Kind == "" || c.Reason.Kind == Unexplained:
			t.Errorf("candidate %d does not say why it was not chosen: %q", c.ID, c.Reason.String())
		}
		if c.Within() != (c.Verdict != BreaksTolerance) {
			t.Errorf("candidate %d uses %g of its tolerances: %s", c.ID, c.Used, c.Verdict)
		}
	}
	if choices != 1 || count < 5 || len(f.Candidates) < 7 {
		t.Errorf("%d choices, %d on the frontier of %d: the case shows nothing", choices, count,
			len(f.Candidates))
	}
	if near := f.Near(8); len(near) < 4 || len(near) > 8 ||
		!slices.ContainsFunc(near, func(c FrontierCandidate) bool {
			return c.Chosen
		}) {
		t.Errorf("%d candidates near the choice", len(near))
	}
}

// The same job gives the same search, whatever the number of cores.
func TestSearchDoesNotDependOnCores(t *testing.T) {
	run := func(cores int) []string {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		_, _, f := searched(t, mustCity(t, "epochs = 1"))
		return summary(f)
	}
	if one, three := run(1), run(3); !reflect.DeepEqual(one, three) {
		t.Errorf("on one core\n%s\non three\n%s", strings.Join(one, "\n"),
			strings.Join(three, "\n"))
	}
}

func TestPinsHold(t *testing.T) {
	// two sequences of a scenario leave wide intervals
	in := mustCity(t, "epochs = 1", [3]string{"job.toml", "5 %", "70 %"},
		[3]string{"job.toml", `file = "features.csv"`, "file = \"features.csv\"\nkeep = " +
			"[\"precip_sum3d\"]\ndrop = [\"temp_range\"]"},
		[3]string{"job.toml", "[outputs]", "[units]\nkeep = [0, \"5\"]\ndrop = [3]\n[outputs]"})
	in.Job.Search.Objective = Cycles
	names := dataset.FeatureNames(in.Float.Features)
	keep, drop := slices.Index(names, "precip_sum3d"), slices.Index(names, "temp_range")
	_, chosen, f := searched(t, in)
	for _, c := range f.Candidates {
		units := c.Candidate.Units[0]
		if !slices.Contains(c.Candidate.Features, keep) ||
			slices.Contains(c.Candidate.Features, drop) || !slices.Contains(units, 0) ||
			!slices.Contains(units, 5) || slices.Contains(units, 3) {
			t.Fatalf("candidate %d keeps features %v and units %v", c.ID, c.Candidate.Features,
				units)
		}
	}
	if len(chosen.Candidate.Features) > 10 || len(f.Candidates) < 10 {
		t.Errorf("%d features are left after %d candidates: the case shows nothing",
			len(chosen.Candidate.Features), len(f.Candidates))
	}
}

// All features of a channel are pinned by its name, also in a copy of the inputs; a feature of that
// very name is refused.
func TestChannelsArePinned(t *testing.T) {
	const file = `file = "features.csv"`
	in := mustCity(t, "epochs = 1",
		[3]string{"job.toml", file, file + "\nkeep = [\"channel:calendar\", \"temp_max\"]\n" +
			"drop = [\"channel:wind\", \"precip\"]"})
	kept := in.KeptFeatures(in.start(quant.Formats{}))
	if want := []string{"temp_max", "temp_min", "temp_range", "temp_max_lag1d",
		"temp_max_slope1d", "temp_mean7d", "precip_sum3d", "season_sin",
		"season_cos"}; !slices.Equal(kept, want) {
		t.Errorf("kept: %q", kept)
	}
	if !in.pins.keepFeature[10] || !in.pins.keepFeature[11] || len(in.pins.keepFeature) != 3 {
		t.Errorf("pinned: %v", in.pins.keepFeature)
	}
	rest, err := in.WithoutChannels([]string{"precipitation"})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(rest.start(quant.Formats{}).Features); n != 8 ||
		len(in.start(quant.Formats{}).Features) != 9 {
		t.Errorf("%d features stay without precipitation", n)
	}
	for channel, says := range map[string]string{
		"precipitatoin": `did you mean "precipitation"?`,
		"calendar":      `feature "season_sin" of channel "calendar" is to be kept`,
		"":              `unknown channel ""`,
	} {
		if _, err := in.WithoutChannels([]string{channel}); err == nil ||
			!strings.Contains(err.Error()+fault.Hint(err), says) {
			t.Errorf("%q: %v", channel, err)
		}
	}
	free := mustCity(t, "epochs = 1")
	if _, err := free.WithoutChannels([]string{"temperature", "precipitation", "wind",
		"calendar"}); err == nil || !strings.Contains(err.Error(), "no feature is left") {
		t.Errorf("%v", err)
	}
	for name, names := range map[string]string{ // of a feature and of its channel
		"channel:wind": `"channel:wind" is a feature, and means all of channel "wind" as well`,
		"channel:air":  "",
	} {
		in := *free
		float := *in.Float
		float.Features = slices.Clone(float.Features)
		float.Features[0].Name, in.Float = name, &float
		got, err := in.featuresNamed(name)
		if names == "" && (err != nil || !slices.Equal(got, []int{0})) ||
			names != "" && (err == nil || err.Msg != names) {
			t.Errorf("%q: %v, %v", name, got, err)
		}
	}
}

func TestPinsAndSearchRulesAreChecked(t *testing.T) {
	for _, c := range []struct{ before, after, says string }{
		{`file = "features.csv"`, "file = \"features.csv\"\nkeep = [\"wnid\"]",
			`:13:9: unknown feature "wnid"`},
		{`file = "features.csv"`, "file = \"features.csv\"\nkeep = [\"wind\"]\ndrop = " +
			"[\"precip\", \"wind\"]", `:14:19: "wind" is to be kept and to be dropped`},
		{`file = "features.csv"`, "file = \"features.csv\"\ndrop = [\"channel:wnid\"]",
			`:13:9: unknown channel "wnid"`},
		{`file = "features.csv"`, "file = \"features.csv\"\nkeep = [\"wind_lag1d\"]\ndrop = " +
			"[\"channel:wind\"]", `:14:9: "wind_lag1d" is to be kept and to be dropped`},
		{"[outputs]", "[units]\nkeep = [12]\n[outputs]", `:15:9: unknown unit "12"`},
		{"[outputs]", "[units]\nkeep = 3\n[outputs]", "not a list of units"},
		{"[outputs]", "[units]\ndrop = [0,1,2,3,4,5,6,7,8,9,10,11]\n[outputs]",
			"every unit of layer 0 is to be dropped"},
		{"[outputs]", "[search]\nobjective = \"speed\"\n[outputs]",
			`:15:13: "speed" is no objective`},
		{"[outputs]", "[search]\nobjective = \"energy\"\n[outputs]",
			"no target says what a step takes of energy"},
		{"[outputs]", "[search]\ntime = \"0 s\"\n[outputs]", "a search of no time finds nothing"},
		{"[outputs]", "[search]\nbeam = 3\n[outputs]", "beam"},
	} {
		if _, err := city(t, "epochs = 1", [3]string{"job.toml", c.before, c.after}); err == nil ||
			!strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.after, err, c.says)
		}
	}
}

// A search that is out of time says so, and still gives a network that is within every tolerance.
func TestSearchOutOfTime(t *testing.T) {
	in := mustCity(t, "epochs = 1",
		[3]string{"job.toml", "[outputs]", "[search]\ntime = \"1 ms\"\n[outputs]"})
	cut, chosen, f := searched(t, in)
	if !cut.Stopped || !f.Stopped || !chosen.Within {
		t.Errorf("stopped %v, within %v", cut.Stopped, chosen.Within)
	}
	r, err := NewPlanner(in).Assess(t.Context(), cut, chosen)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(r.Warnings, func(w string) bool {
		return strings.HasPrefix(w, "the search ended after 1ms")
	}) {
		t.Errorf("warnings %q", r.Warnings)
	}
}

// The objective of the job is what gets small: nothing else finds fewer bytes of flash than the
// search for flash, nor fewer cycles than that for cycles.
func TestObjectives(t *testing.T) {
	worst := map[Resource]map[Resource]float64{}
	for _, objective := range []Resource{Flash, Cycles} {
		in := mustCity(t, "epochs = 1",
			[3]string{"job.toml", "[outputs]",
				fmt.Sprintf("[search]\nobjective = %q\n[outputs]", objective)})
		_, chosen, f := searched(t, in)
		if !strings.HasPrefix(f.Objective, string(objective)) {
			t.Errorf("objective %q", f.Objective)
		}
		worst[objective] = map[Resource]float64{}
		// the share of the tightest target, as the objective has it
		for _, c := range in.Costs(chosen.Candidate) {
			if c.Part == Total && (c.Resource == Flash || c.Resource == Cycles) {
				share := c.Used()
				if math.IsNaN(share) {
					share = c.Value / in.pricing().uncut[c.quantity()]
				}
				worst[objective][c.Resource] = max(worst[objective][c.Resource], share)
			}
		}
	}
	if worst[Flash][Flash] > worst[Cycles][Flash] || worst[Cycles][Cycles] > worst[Flash][Cycles] {
		t.Errorf("shares by objective: %v", worst)
	}
}

// additive is a network whose output is the sum of weight times feature: unit j hears feature j
// alone and stays above 0. Every sequence has independent features of standard deviation 1 (times
// the factor that scale gives) and noise on the reference.
func additive(t *testing.T, weights, scores []float64, sequences int, noise float64,
	scenario func(i int) string, scale func(i, feature int) float64) *Inputs {
	t.Helper()
	n, steps := len(weights), 200
	const lift = 20.0 // above any feature value
	layer := &model.Recurrent{Kind: model.ElmanReLU, Inputs: n, Units: n, W: make([]float64, n*n),
		U: make([]float64, n*n), B: make([]float64, n), D: make([]float64, n)}
	head := &model.Dense{Inputs: n, Outputs: 1, W: slices.Clone(weights), B: []float64{0}}
	in := &Inputs{Job: &Job{Tolerances: map[string]Tolerance{"y": riseOf(0.05)}}}
	var features []dataset.Feature
	var names []string
	for j, w := range weights {
		layer.W[j*n+j], layer.B[j] = 1, lift
		head.B[0] -= lift * w
		names = append(names, fmt.Sprintf("x%d", j))
		features = append(features, dataset.Feature{Name: names[j], Std: 1})
	}
	in.Float = dataset.NewFloat(&model.Network{Recurrent: []*model.Recurrent{layer},
		Dense: []*model.Dense{head}}, features, []dataset.Output{{Name: "y", Std: 1}})
	in.Scores = &prune.Scores{Items: names,
		Columns: []prune.Column{{Scenario: prune.All, Output: prune.All, Values: scores}}}
	random := rand.New(rand.NewPCG(21, 0))
	in.Selection = &dataset.Recordings{Features: n, Outputs: 1}
	for i := range sequences {
		s := &dataset.Sequence{Name: fmt.Sprint(i), Scenario: scenario(i), Steps: steps,
			X: make([]float64, n*steps), Y: make([]float64, steps)}
		for k := range s.X {
			s.X[k] = random.NormFloat64() * scale(i, k%n)
		}
		in.Float.Predict(s, s.Y)
		for k := range s.Y {
			s.Y[k] += noise * random.NormFloat64() * scale(i, n)
		}
		in.Selection.Sequences = append(in.Selection.Sequences, s)
	}
	return in
}

// Feature x0 has the least score by far, and over all recordings its loss is nothing: but in one
// scenario the noise is small, and there the error would rise by √(1 + 0.05²/0.1²) - 1 = 12 %. It
// stays. Feature x1, with more score, goes: √(1 + 0.05²) - 1 = 0.1 %.
func TestAFeatureThatOneScenarioNeedsStays(t *testing.T) {
	scenario := func(i int) string {
		if i%4 == 0 {
			return "still"
		}
		return "rough"
	}
	scale := func(i, feature int) float64 {
		switch {
		case feature == 1 && i%4 == 0:
			return 0.01 // x1 hardly moves where it is still
		case feature == 4 && i%4 == 0:
			return 0.1 // noise
		}
		return 1
	}
	in := additive(t, []float64{0.05, 0.05, 1, 1}, []float64{0.01, 0.2, 1, 1}, 48, 1, scenario,
		scale)
	cut, _, _ := searched(t, in)
	goes := func(features ...int) *Point {
		for _, p := range cut.Points {
			if slices.Equal(p.Candidate.Features, prune.Without(4, features...)) {
				return p
			}
		}
		return nil
	}
	if p := goes(1); p == nil || !p.Within() {
		t.Errorf("x1 does not go: %+v", p)
	}
	for _, p := range cut.Points {
		if p.Within() && !slices.Contains(p.Candidate.Features, 0) {
			t.Errorf("candidate %d (%s) within without x0, used %g", p.ID, p.Change, p.Used)
		}
	}
	if p := goes(0); p != nil {
		for _, row := range p.Rows {
			if row.Scenario == "all" && row.Rise > 0.01 {
				t.Errorf("over all the error rises by %g: the case shows nothing", row.Rise)
			}
		}
	}
}

// fixedOrder is the search as one pass: front ends, then features and units by their share of the
// scores, each tried once.
func fixedOrder(in *Inputs, cut *Cut) Candidate {
	pl, items := NewPlanner(in), in.items(cut)
	slices.SortStableFunc(items, func(a, b item) int {
		if first := func(i item) bool { return i.sort == FrontEndItem }; first(a) != first(b) {
			if first(a) {
				return -1
			}
			return 1
		}
		return int(math.Copysign(1, a.share-b.share))
	})
	kept := cut.Points[0].Candidate
	for _, i := range items {
		if c, ok := i.without(kept); ok {
			_, predicted := pl.statistics().CutAndRun(c.Features, c.Units)
			if _, ok := pl.within(in.measured(predicted)); ok {
				kept = c
			}
		}
	}
	return kept
}

// Front ends small and large lose the same: √(1 + 0.25²) - 1 = 3.1 % each, and √(1 + 2·0.25²) - 1 =
// 6.1 % together, so one of them can go. The scores put the small one first, and one pass in their
// order is left with 4 KiB that the search saves.
func TestAnOrderThatIsFixedIsWorse(t *testing.T) {
	in := additive(t, []float64{0.25, 0.25, 1}, []float64{0.1, 0.11, 1}, 60, 1, func(int) string {
		return "only"
	}, func(int, int) float64 { return 1 })
	in.Float.Features[0].FrontEnd, in.Float.Features[1].FrontEnd = "small", "large"
	in.Job.FrontEnds = []FrontEnd{{Name: "small", Flash: 16}, {Name: "large", Flash: 4096}}
	cut, chosen, _ := searched(t, in)
	fixed := fixedOrder(in, cut)
	fixed.Formats = chosen.Candidate.Formats
	if got := in.KeptFeatures(chosen.Candidate); !slices.Equal(got, []string{"x0", "x2"}) {
		t.Errorf("the search keeps %v", got)
	}
	if got := in.KeptFeatures(fixed); !slices.Equal(got, []string{"x1", "x2"}) {
		t.Errorf("the fixed order keeps %v", got)
	}
	if saved := in.flash(fixed) - in.flash(chosen.Candidate); saved < 4000 {
		t.Errorf("the search saves %g B", saved)
	}
}

// A training search that the time of the job ends is noted, as one that ends earlier is.
func TestTrainingOutOfTime(t *testing.T) {
	in := mustCity(t, "epochs = 1")
	pl := NewPlanner(in)
	cut, chosen := searchedBy(t, pl)
	if cut.Stopped {
		t.Fatal("nothing should have ended the search without training")
	}
	pl.search.until = time.Now().Add(-time.Second)
	if _, err := pl.Recover(t.Context(), cut, chosen, nil, untold); err != nil {
		t.Fatal(err)
	}
	if !cut.Stopped || len(cut.Trained) > 0 {
		t.Errorf("stopped %v, %d networks trained", cut.Stopped, len(cut.Trained))
	}
}
