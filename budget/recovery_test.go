package budget

import (
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"kerf/dataset"
	"kerf/quant"
	"kerf/recovery"
)

// city loads the open data set (testdata/cityweather) with [recovery] and changes to its files, one
// text for another in the file named.
func city(t *testing.T, rule string, changes ...[3]string) (*Inputs, error) {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS("../testdata/cityweather")); err != nil {
		t.Fatal(err)
	}
	for _, c := range append(changes,
		[3]string{"job.toml", "[tolerance]", "[recovery]\n" + rule + "\n[tolerance]"}) {
		path := filepath.Join(dir, c[0])
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(text), c[1]) {
			t.Fatalf("%s does not hold %q", c[0], c[1])
		}
		if err := os.WriteFile(path, []byte(strings.ReplaceAll(string(text), c[1], c[2])),
			0o600); err != nil {
			t.Fatal(err)
		}
	}
	return Load(filepath.Join(dir, "job.toml"))
}

func mustCity(t *testing.T, rule string, changes ...[3]string) *Inputs {
	t.Helper()
	in, err := city(t, rule, changes...)
	if err != nil {
		t.Fatal(err)
	}
	return in
}

var untold TrainingProgress

// recovered searches, chooses and trains, as plan does.
func recovered(t *testing.T, in *Inputs) (pl *Planner, cut *Cut, again *Chosen) {
	t.Helper()
	pl = NewPlanner(in)
	cut, err := pl.FindCut(t.Context(), func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	chosen, err := pl.Choose(t.Context(), cut)
	if err != nil {
		t.Fatal(err)
	}
	if again, err = pl.Recover(t.Context(), cut, chosen, nil, untold); err != nil {
		t.Fatal(err)
	}
	return pl, cut, again
}

// trainedAs follows a recipe on all selection recordings.
func trainedAs(t *testing.T, pl *Planner, r recipe) *dataset.Float {
	t.Helper()
	trainings := pl.newTrainings(nil, untold)
	if err := trainings.follow(t.Context(), "", []int{noFold}, r); err != nil {
		t.Fatal(err)
	}
	return trainings.done[piece{r, noFold}.key()].Net
}

// halfOf keeps half of the units of city-weather.
func halfOf(in *Inputs) *Cut {
	c := in.Whole(quant.Formats{})
	c.Units = [][]int{{0, 2, 4, 6, 8, 10}}
	return CutByHand(c)
}

// halved keeps half of the units, whatever the tolerances say, and recovers.
func halved(t *testing.T, in *Inputs) *Chosen {
	t.Helper()
	pl, cut := NewPlanner(in), halfOf(in)
	chosen, err := pl.Choose(t.Context(), cut)
	if err != nil {
		t.Fatal(err)
	}
	again, err := pl.Recover(t.Context(), cut, chosen, nil, untold)
	if err != nil {
		t.Fatal(err)
	}
	if chosen.Within || again.Candidate.Recovered == nil || !(again.used < 0.6*chosen.used) {
		t.Fatalf("with half of the units %g of a tolerance was used, recovered (%v) %g",
			chosen.used, again.Candidate.Recovered != nil, again.used)
	}
	return again
}

// Rates and segments of trainings that follow each other: a gentle start is gentle once, and a
// lesson without a feature slows no later one.
func TestSettingsOfLessons(t *testing.T) {
	in := mustCity(t, "epochs = 40\nrate = 0.01\nlength = 100")
	trainings := NewPlanner(in).newTrainings(nil, untold)
	words := quant.Uniform(in.Float.Net, 8, 16, 16)
	all, fewer := []int{0, 1, 2}, []int{0, 1}
	start := recipe{features: all, units: [][]int{{0}}}
	longer, shorter := lesson{features: all}, lesson{features: fewer}
	for _, c := range []struct {
		name   string
		r      recipe
		epochs int
		rate   float64
		length int
	}{
		{"cut", start, 40, 0.01, 100},
		{"gently", start.gently(), 40, 0.001, 100},
		{"gently, longer", start.gently().then(longer), 40, 0.003, 400},
		{"longer", start.then(longer), 40, 0.003, 400},
		{"twice longer", start.then(longer).then(longer), 40, 0.0009, 400},
		{"without a feature", start.then(shorter), 10, 0.003, 400},
		{"in words", start.then(lesson{features: all, formats: &words}), 20, 0.003, 400},
	} {
		s := trainings.settingsOf(c.r)
		if s.Epochs != c.epochs || math.Abs(s.Rate/c.rate-1) > 1e-12 || s.Length != c.length {
			t.Errorf("%s: %d epochs, rate %g, segments of %d; want %d, %g, %d", c.name, s.Epochs,
				s.Rate, s.Length, c.epochs, c.rate, c.length)
		}
	}
}

// TestSingleWordsAreTrainedIn: where narrower words of one tensor would be cheaper, a network is
// trained in them, and what it may use counts.
func TestSingleWordsAreTrainedIn(t *testing.T) {
	in := mustCity(t, "epochs = 3", [3]string{"job.toml", "[tolerance]",
		"[search]\nobjective = \"flash\"\n[tolerance]"})
	_, cut, again := recovered(t, in)
	single := 0
	for _, a := range cut.Trained {
		if a.Formats == nil {
			continue
		}
		for _, l := range a.Formats.Layers {
			if l.InputBits != l.RecurrentBits {
				single++
			}
		}
		c := again.Candidate
		if !a.Within() && c.Recovered != nil && c.Recovered.Formats.String() ==
			a.Formats.String() {
			t.Errorf("%s are taken, of which %g of a tolerance is used", a.Formats, a.Used)
		}
	}
	if single == 0 {
		t.Error("no network was trained in narrower words of one tensor")
	}
}

// A network that was judged on one fold alone used more than what was judged on all.
func TestHalfJudgementsStandBehind(t *testing.T) {
	half, full := judgement{used: 3, half: true}, judgement{used: 4.2}
	if !full.isLess(half) || half.isLess(full) || !(judgement{used: 1}).isLess(full) {
		t.Error("a judgement on half of the recordings stands before one on all")
	}
}

// TestNothingStartsFromScratchWithoutAKeptUnit: a network from scratch has none of the given units.
func TestNothingStartsFromScratchWithoutAKeptUnit(t *testing.T) {
	for units, want := range map[string]bool{"": true, "[units]\nkeep = [3]\n": false} {
		in := mustCity(t, "epochs = 1", [3]string{"job.toml", "[tolerance]",
			units + "[tolerance]"})
		pl, _, _ := recovered(t, in)
		started := false
		for key := range pl.trained.trainings.done {
			started = started || strings.Contains(key, "scratch")
		}
		if started != want {
			t.Errorf("with %q a network from scratch was trained: %t", units, started)
		}
	}
}

// TestSignoffRecordingsChangeNoWeight: other sign-off recordings, the same network, to the last
// bit.
func TestSignoffRecordingsChangeNoWeight(t *testing.T) {
	const rule = "epochs = 10"
	given := mustCity(t, rule)
	other := mustCity(t, rule, [3]string{"signoff.csv", ".", ".9"})
	if reflect.DeepEqual(given.Signoff, other.Signoff) ||
		!reflect.DeepEqual(given.Selection, other.Selection) {
		t.Fatal("the sign-off recordings, and only these, should differ")
	}
	a, b := halved(t, given), halved(t, other)
	if !reflect.DeepEqual(a.Candidate.Recovered, b.Candidate.Recovered) {
		t.Error("the trained networks differ")
	}
	if !reflect.DeepEqual(a.Fixed, b.Fixed) {
		t.Error("the integer networks differ")
	}
	// That they are compared at all: one more word of the selection recordings does change the
	// weights.
	third := mustCity(t, rule,
		[3]string{"selection.csv", "12,seattle_cold,0,10,", "12,seattle_cold,0,11,"})
	if reflect.DeepEqual(a.Candidate.Recovered.Net.Net,
		halved(t, third).Candidate.Recovered.Net.Net) {
		t.Error("other selection recordings give the same weights")
	}
}

// TestFoldsAreJudgedByNetworksTrainedWithoutThem: the sequences of a fold do not touch the network
// that judges it.
func TestFoldsAreJudgedByNetworksTrainedWithoutThem(t *testing.T) {
	in := mustCity(t, "epochs = 10")
	pl := NewPlanner(in)
	pl.Statistics() // of the recordings as they are
	c := in.Whole(quant.Uniform(in.Float.Net, 8, 16, 16))
	train := func() *Recovered {
		pl.last = nil // the recordings change between the trainings
		r := recipe{features: c.Features, units: c.Units}.then(
			lesson{features: c.Features, formats: &c.Formats})
		trainings := pl.newTrainings(nil, untold)
		if err := trainings.follow(t.Context(), "", []int{noFold, 0, 1}, r); err != nil {
			t.Fatal(err)
		}
		return trainings.candidate(r).Recovered
	}
	before := train()
	fold := dealt(in.Selection)
	for i, s := range in.Selection.Sequences {
		if fold[i] == 1 {
			for k := range s.Y {
				s.Y[k] += 1
			}
		}
	}
	after := train()
	same := func(a, b *dataset.Float) bool { return reflect.DeepEqual(a.Net, b.Net) }
	if !same(before.withoutFold[1], after.withoutFold[1]) {
		t.Error("the network that judges fold 1 has seen it")
	}
	if same(before.withoutFold[0], after.withoutFold[0]) && same(before.Net, after.Net) {
		t.Error("what was changed has no effect on any network")
	}
}

// TestNothingIsTrainedThatCannotBeJudged: one sequence of a judged scenario says nothing of others,
// so no network could hold, trained or not.
func TestNothingIsTrainedThatCannotBeJudged(t *testing.T) {
	in := mustCity(t, "epochs = 1")
	if !NewPlanner(in).isTrainable() {
		t.Fatal("the recordings as they are should be enough")
	}
	seen := map[string]bool{}
	in.Selection.Sequences = slices.DeleteFunc(in.Selection.Sequences,
		func(s *dataset.Sequence) bool {
			again := s.Scenario == "seattle_cold" && seen[s.Scenario]
			seen[s.Scenario] = true
			return again
		})
	pl := NewPlanner(in)
	cut, untrained := searchedBy(t, pl)
	chosen, err := pl.Recover(t.Context(), cut, untrained, nil, untold)
	if err != nil {
		t.Fatal(err)
	}
	if chosen != untrained || len(cut.Trained) != 0 {
		t.Errorf("%d networks were trained", len(cut.Trained))
	}
	r, err := pl.Assess(t.Context(), cut, chosen)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(r.Warnings, "the selection recordings are too few to judge a trained "+
		"network by, so nothing was trained") {
		t.Errorf("no warning says so: %q", r.Warnings)
	}
}

func TestFurtherRecordings(t *testing.T) {
	selection, err := os.ReadFile("../testdata/cityweather/selection.csv")
	if err != nil {
		t.Fatal(err)
	}
	with := func(text string) *Inputs {
		file := filepath.Join(t.TempDir(), "more.csv")
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return mustCity(t, "epochs = 1\nrecordings = "+`"`+file+`"`)
	}
	if in := with(string(selection)); len(in.Further.Sequences) != 0 || len(in.Warnings) == 0 {
		t.Errorf("selection recordings are trained on twice: %d sequences, warnings %q",
			len(in.Further.Sequences), in.Warnings)
	}
	signoff, err := os.ReadFile("../testdata/cityweather/signoff.csv")
	if err != nil {
		t.Fatal(err)
	}
	if in := with(string(signoff)); in.Shared != 12 ||
		!strings.Contains(strings.Join(in.Warnings, "\n"), "also trained on") {
		t.Errorf("training on the sign-off recordings is not told: %d shared, warnings %q",
			in.Shared, in.Warnings)
	}
	_, rows, _ := strings.Cut(string(signoff), "\n")
	again := string(signoff) + regexp.MustCompile(`(?m)^(\d+),`).ReplaceAllString(rows, "again$1,")
	if in := with(again); len(in.Further.Sequences) != 12 ||
		!strings.Contains(strings.Join(in.Warnings, "\n"),
			"12 sequences for recovery training repeat") {
		t.Errorf("training on the same recordings twice is not told: %d sequences, warnings %q",
			len(in.Further.Sequences), in.Warnings)
	}
	// Without the columns of the outputs; the values of a feature are others, so these are no
	// selection recordings.
	text := strings.Replace(string(selection), "temp_max_next", "a", 1)
	text = strings.Replace(text, "temp_min_next", "b", 1)
	text = regexp.MustCompile(`(?m)^(12,seattle_cold,\d+,)(-?)(\d)`).ReplaceAllString(text,
		"${1}${2}1${3}")
	in := with(text)
	if len(in.Further.Sequences) != 1 || in.Further.Sequences[0].Y != nil {
		t.Fatalf("%d further sequences", len(in.Further.Sequences))
	}
	all := in.Whole(quant.Formats{})
	trainedAs(t, NewPlanner(in), recipe{features: all.Features, units: all.Units})
}

func TestRecoveryRuleIsRead(t *testing.T) {
	in := mustCity(t, "epochs = 7\nteacher = 0.25\nlength = 50\nrate = 0.01\ndecay = "+
		"0.001\nseed = 3")
	want := recovery.Defaults()
	want.Epochs, want.Share, want.Length, want.Rate, want.Decay, want.Seed = 7, 0.25, 50, 0.01,
		0.001, 3
	if got := in.Job.Recovery.Settings(); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	for rule, says := range map[string]string{
		"epochs = 0":   "0 epochs are no training",
		"teacher = 2":  "a share of 2 for the teacher is not between 0 and 1",
		"rate = 7":     "a rate of 7 is not between 0 and 1",
		"epoch = 3":    "epoch",
		"length = 0":   "a length of 0 steps is no segment",
		"rate = \"a\"": "rate",
		"decay = -0.1": "a decay of -0.1 is not between 0 and 1",
	} {
		if _, err := city(t, rule); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want %q", rule, err, says)
		}
	}
}

// Features and outputs in another unit are named; those of another season are not.
func TestTrainingRecordingsInAnotherUnit(t *testing.T) {
	in := mustCity(t, "epochs = 1")
	further := dataset.Join(in.Selection, in.Signoff)
	in.Further = further
	if names := in.unlikeSelection(); names != nil {
		t.Errorf("%q are said to differ", names)
	}
	for i, s := range further.Sequences {
		scaled := *s
		scaled.X, scaled.Y = slices.Clone(s.X), slices.Clone(s.Y)
		for k := 2; k < len(s.X); k += further.Features {
			scaled.X[k] *= 10
		}
		for k := 1; k < len(s.Y); k += further.Outputs {
			scaled.Y[k] += 200
		}
		further.Sequences[i] = &scaled
	}
	want := []string{in.Float.Features[2].Name, in.Float.Outputs[1].Name}
	if names := in.unlikeSelection(); !slices.Equal(names, want) {
		t.Errorf("%q are said to differ, want %q", names, want)
	}
}
