package budget

import (
	"testing"

	"kerf/dataset"
)

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
