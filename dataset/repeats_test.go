package dataset

import (
	"math/rand/v2"
	"testing"
)

// moving returns recordings in which no step is like another.
func moving(seed uint64, sequences, steps int) *Recordings {
	random := rand.New(rand.NewPCG(seed, 0))
	rec := &Recordings{Features: 2, Outputs: 1}
	for range sequences {
		s := &Sequence{Name: "s", Scenario: "s", Steps: steps}
		for range steps {
			s.X = append(s.X, random.Float64(), random.Float64())
			s.Y = append(s.Y, random.Float64())
		}
		rec.Sequences = append(rec.Sequences, s)
	}
	return rec
}

// part returns a copy of some steps of a sequence.
func part(s *Sequence, from, to int) *Sequence {
	return &Sequence{Name: "part", Scenario: "s", Steps: to - from,
		X: append([]float64(nil), s.X[2*from:2*to]...),
		Y: append([]float64(nil), s.Y[from:to]...)}
}

// A sequence that lost a step, or in which a value was touched, repeats the original; one that has
// less than half in common with it does not. With other outputs it is no repeat within recordings
// of one use, but still no independent evidence between two.
func TestRepeatsInDisguise(t *testing.T) {
	for _, c := range []struct {
		name           string
		copy           func(s *Sequence) *Sequence
		shared, unique bool
	}{
		{"a step less", func(s *Sequence) *Sequence { return part(s, 0, s.Steps-1) }, true, false},
		{"begins later", func(s *Sequence) *Sequence { return part(s, 30, s.Steps) }, true, false},
		{"a value touched", func(s *Sequence) *Sequence {
			touched := part(s, 0, s.Steps)
			touched.X[100] += 1e-9
			return touched
		}, true, false},
		{"other outputs", func(s *Sequence) *Sequence {
			other := part(s, 0, s.Steps)
			for i := range other.Y {
				other.Y[i] *= 3
			}
			return other
		}, true, true},
		{"a third of it", func(s *Sequence) *Sequence {
			third := part(s, 0, s.Steps/3)
			rest := part(moving(9, 1, s.Steps).Sequences[0], s.Steps/3, s.Steps)
			return &Sequence{Name: "third", Scenario: "s", Steps: s.Steps,
				X: append(third.X, rest.X...),
				Y: append(third.Y, rest.Y...)}
		}, false, true},
		{"another one", func(s *Sequence) *Sequence {
			return moving(8, 1, s.Steps).Sequences[0]
		}, false, true},
	} {
		a := moving(7, 3, 200)
		b := &Recordings{Features: 2, Outputs: 1, Sequences: []*Sequence{c.copy(a.Sequences[1])}}
		if got := len(Shared(a, b)) == 1; got != c.shared {
			t.Errorf("%s: shared is %v", c.name, got)
		}
		if _, dropped := Unique(Join(a, b)); (dropped == 0) != c.unique {
			t.Errorf("%s: %d dropped", c.name, dropped)
		}
	}
}

// Sequences that stand still at the same place do not repeat each other: only steps in which
// something moves count.
func TestStandingStillIsNoRepeat(t *testing.T) {
	still := func(seed uint64) *Sequence {
		s := part(moving(seed, 1, 40).Sequences[0], 0, 40)
		for range 400 {
			s.X, s.Y, s.Steps = append(s.X, 1, 2), append(s.Y, 3), s.Steps+1
		}
		return s
	}
	rec := &Recordings{Features: 2, Outputs: 1, Sequences: []*Sequence{still(1), still(2)}}
	if _, dropped := Unique(rec); dropped != 0 {
		t.Errorf("%d of two sequences that stand still at the same place are dropped", dropped)
	}
}

// Of very long recordings, some runs of steps are enough to find a repeat.
func TestRepeatsOfLongRecordings(t *testing.T) {
	a := moving(7, 2, mostRuns)
	b := &Recordings{Features: 2, Outputs: 1,
		Sequences: []*Sequence{part(a.Sequences[1], 5, 5000), moving(8, 1, 5000).Sequences[0]}}
	if pick := picking(a); pick != 2 {
		t.Errorf("one in %d runs is looked at", pick)
	}
	if shared := Shared(a, b); len(shared) != 1 || shared[0] != b.Sequences[0] {
		t.Errorf("%d shared", len(shared))
	}
}
