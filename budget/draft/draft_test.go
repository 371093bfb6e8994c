package draft

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"

	"kerf/testdata/randomnet"
)

// The names of the demo's features tell channel and kind as testdata/demo/features.csv has them,
// written by hand.
func TestChannelAndKindOfTheDemo(t *testing.T) {
	file, err := os.Open(filepath.Join("..", "..", "testdata", "demo", "features.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	features, err := dataset.ReadFeatures(file, "features.csv")
	if err != nil {
		t.Fatal(err)
	}
	names := dataset.FeatureNames(features)
	for _, f := range features {
		channel, kind := channelAndKind(f.Name, names)
		// the only one of its kind: what its last word means cannot be seen
		if f.Name == "oil_temperature" {
			continue
		}
		if channel != f.Channel || kind != f.Kind {
			t.Errorf("%s: channel %q, kind %q; want %q, %q", f.Name, channel, kind, f.Channel,
				f.Kind)
		}
	}
}

// Text from files stays inside its string or comment, whatever it holds: the draft is read again as
// it was meant.
func TestDraftTextIsSafe(t *testing.T) {
	hostile := "a\"b\n[target]\nprofile = \"x\"\x01\\"
	d := &Draft{
		Name: "leakair", Model: hostile, Convention: "torch", Selection: hostile,
		Signoff: []string{hostile, "b.csv"},
		Outputs: []dataset.Output{{Name: hostile, Std: 1}}, Ignored: []string{hostile},
		Choices: []Choice{{Fit: []Fit{{hostile, 0.3}}}}, Steps: 10,
	}
	job, err := readBack(t, d.TOML())
	if err != nil {
		t.Fatalf("%v\n%s", err, d.TOML())
	}
	if job.Model.File != hostile || job.Recordings.Signoff[0] != hostile ||
		job.Tolerances[hostile].RMSERise == nil || len(job.Targets) != 1 {
		t.Errorf("read again: %+v", job)
	}
	if !d.IsDoubtful() || !strings.Contains(string(d.TOML()), "that is little") {
		t.Error("a guess that explains 30 % is not doubted")
	}
}

// Of a column that stands still nothing is explained, however near the network comes to it.
func TestNothingIsExplainedOfAConstant(t *testing.T) {
	random := randomnet.Seeded(17)
	float := randomnet.Network(random, 2, randomnet.OneGRU, 2)
	recordings := randomnet.Recordings(random, float)
	for _, s := range recordings.Sequences {
		float.Predict(s, s.Y)
		for at := 0; at < len(s.Y); at += 2 {
			s.Y[at] = 0
		}
	}
	fit := fitOf(dataset.Measure(float, recordings, nil), float.Outputs, recordings, "")
	if fit[0].Share != 0 || fit[1].Share < 0.999 {
		t.Errorf("of a constant %g, of the other output %g is explained", fit[0].Share,
			fit[1].Share)
	}
}

// readBack reads a drafted job.
func readBack(t *testing.T, text []byte) (*budget.Job, error) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "job.toml")
	if err := os.WriteFile(file, text, 0o644); err != nil {
		t.Fatal(err)
	}
	return budget.ReadJob(file)
}

// A recording is cut to beginnings that are evenly spread, longer ones where an output stands
// still; finalists see whole sequences, as many as an interval wants.
func TestParts(t *testing.T) {
	recordings := func(steps ...int) *dataset.Recordings {
		rec := &dataset.Recordings{Features: 1, Outputs: 1}
		for _, n := range steps {
			s := &dataset.Sequence{Steps: n}
			for i := range n {
				s.X, s.Y = append(s.X, 1), append(s.Y, float64(i/50)) // still for 50 steps
			}
			rec.Sequences = append(rec.Sequences, s)
		}
		return rec
	}
	lengths := func(rec *dataset.Recordings) (steps []int) {
		for _, s := range rec.Sequences {
			steps = append(steps, s.Steps)
		}
		return steps
	}
	for _, c := range []struct {
		got  *dataset.Recordings
		want []int
	}{
		{got: beginnings(recordings(100), 60), want: []int{60}},
		{got: beginnings(recordings(100), 20), want: []int{80}},
		{got: beginnings(recordings(40, 30), 20), want: []int{40, 30}},
		{got: beginnings(recordings(100, 10, 100), 180), want: []int{60, 10, 60}},
		{got: spreadOut(recordings(100, 10, 100), 210), want: []int{100, 10, 100}},
		{got: spreadOut(recordings(100, 10, 100), 60), want: []int{20, 10, 20}},
		{got: spreadOut(recordings(1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12), 40),
			want: []int{1, 3, 5, 7, 9, 11}},
	} {
		if got := lengths(c.got); !slices.Equal(got, c.want) {
			t.Errorf("sequences of %v steps, want %v", got, c.want)
		}
	}
}

// A round takes no more work than it may, a reading at least some steps, and every reading that can
// win is in the last round.
func TestRounds(t *testing.T) {
	for _, c := range []struct {
		usual, others, settings, parameters, steps int
	}{{1, 0, 2, 1000, 50}, {256, 1792, 4, 14_000, 40_000}, {4096, 0, 4, 1, 1},
		{9, 9, 1, 1e7, 1e6}} {
		plan := rounds(c.usual, c.others, c.settings, c.parameters, c.steps)
		if first := plan[0]; first.usual != c.usual || first.others != c.others ||
			first.settings != c.settings {
			t.Errorf("%+v: the first round is %+v", c, first)
		}
		for i, r := range plan {
			isLast := i == len(plan)-1
			work, least, most := r.work()*float64(c.parameters), fewestTried, float64(roundWork)
			if isLast {
				least, most = finalSteps, finalWork
			}
			if r.steps > c.steps || r.steps < min(least, c.steps) ||
				work > most && r.steps > least {
				t.Errorf("%+v: round %d is %+v, of %g", c, i, r, work)
			}
			if (r.usual > finalists || r.others > finalists) && isLast {
				t.Errorf("%+v: the last round is %+v", c, r)
			}
		}
	}
}
