package budget

import (
	"testing"

	"kerf/dataset"
)

// Every number of units has a cut, also where the job gives no tolerance; none of what was measured
// with as many is better, and what the search found with fewest units is among them.
func TestEveryNumberOfUnitsHasACut(t *testing.T) {
	for _, c := range []struct {
		name    string
		changes [][3]string
		fewest  int
	}{
		{"tolerances of 20 %", [][3]string{{"job.toml", "5 %", "20 %"}}, 1},
		{"pins", [][3]string{{"job.toml", "[outputs]", "[units]\nkeep = [0, 5]\n[outputs]"}}, 2},
	} {
		in := mustCity(t, "epochs = 1", c.changes...)
		pl := NewPlanner(in)
		cut, err := pl.FindCut(t.Context(), func(int) {})
		if err != nil {
			t.Fatal(err)
		}
		found := len(cut.Points)
		last := 0
		all, err := pl.CutsByUnits(t.Context(), cut, func(done, of int) {
			if done != last+1 || of != 12-c.fewest {
				t.Errorf("%s: progress %d of %d", c.name, done, of)
			}
			last = done
		})
		if err != nil {
			t.Fatal(err)
		}
		if len(all) != 13-c.fewest || len(cut.Points) <= found {
			t.Errorf("%s: %d cuts, %d points after %d", c.name, len(all), len(cut.Points), found)
		}
		for i, p := range all {
			if p.Candidate.UnitCount() != 12-i {
				t.Errorf("%s: row %d has %d units", c.name, i, p.Candidate.UnitCount())
			}
			for _, q := range cut.Points {
				if !q.Fixed && q.Candidate.UnitCount() == 12-i && q.isBetterCut(p) {
					t.Errorf("%s: %d units: number %d is better than %d", c.name, 12-i, q.ID, p.ID)
				}
			}
		}
		if !all[0].Within() || all[len(all)-1].Within() {
			t.Errorf("%s: within with all units %v, with the fewest %v", c.name, all[0].Within(),
				all[len(all)-1].Within())
		}
	}
	in := mustCity(t, "epochs = 1")
	in.Job.Tolerances = nil
	pl := NewPlanner(in)
	cut, err := pl.FindCut(t.Context(), func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	all, err := pl.CutsByUnits(t.Context(), cut, func(int, int) {})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range all {
		if len(p.Candidate.Features) != 12 {
			t.Errorf("without a tolerance %d units keep %d features", p.Candidate.UnitCount(),
				len(p.Candidate.Features))
		}
	}
	if len(all) != 12 {
		t.Errorf("%d cuts without a tolerance", len(all))
	}
}

// Short recordings are looked at as they are; long ones in windows of every scenario, whose steps
// are those of the recordings, with what warms them up before.
func TestWindowsOfLongRecordings(t *testing.T) {
	rec := &dataset.Recordings{Features: 1, Outputs: 1}
	for i := range 20 {
		s := &dataset.Sequence{Scenario: []string{"a", "b"}[i%2], Steps: 3000, Settle: 10}
		for step := range s.Steps {
			s.X, s.Y = append(s.X, float64(10000*i+step)), append(s.Y, float64(step))
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	short := *rec
	short.Sequences = rec.Sequences[:13]
	if got := windowsOf(&short); got != &short {
		t.Error("short recordings are not looked at as they are")
	}
	got := windowsOf(rec)
	first, last := 3000.0, 0.0
	for _, s := range got.Sequences {
		if s.Settle != min(64, int(s.Y[s.Settle])) && s.Settle != 10 || len(s.X) != s.Steps {
			t.Errorf("a window settles for %d steps", s.Settle)
		}
		for k := range s.X {
			if s.X[k]-s.X[0] != float64(k) || s.Y[k]-s.Y[0] != float64(k) {
				t.Fatal("a window has other steps")
			}
		}
		first, last = min(first, s.Y[s.Settle]), max(last, s.Y[len(s.Y)-1])
	}
	if n := got.Judged(); n < windowSteps*9/10 || n > windowSteps || len(got.Sequences) != 16 ||
		first != 10 || last != 2999 {
		t.Errorf("%d steps in %d windows from %g to %g", n, len(got.Sequences), first, last)
	}
}
