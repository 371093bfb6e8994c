package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/dataset"
)

// resultOf has sums of so many outputs over so many sequences in four scenarios.
func resultOf(outputs, sequences int) *budget.Result {
	random := rand.New(rand.NewPCG(3, 0))
	rec := &dataset.Recordings{}
	for i := range sequences {
		name, scenario := fmt.Sprintf("off-steady_splitting-%05d", i), fmt.Sprint("scenario ", i%4)
		rec.Sequences = append(rec.Sequences,
			&dataset.Sequence{Name: name, Scenario: scenario, Steps: 500, Settle: 20})
	}
	r := &budget.Result{Inputs: &budget.Inputs{Signoff: rec, Float: &dataset.Float{}}}
	draw := func() dataset.Sums {
		s := dataset.Sums{Sequences: sequences}
		for range sequences {
			s.Steps, s.Parts = append(s.Steps, 480), append(s.Parts, 100*random.Float64())
		}
		return s
	}
	for o := range outputs {
		r.Sums = append(r.Sums, budget.Sums{Output: fmt.Sprint("output ", o), Metric: dataset.RMSE,
			Float: draw(), Fixed: draw()})
	}
	return r
}

// The sums of 10,000 sequences stay where they fit: two outputs in two regions. Above half of what
// is read back they are left out, the sign-off says so, and it can be read back.
func TestSumsOfManySequences(t *testing.T) {
	const sequences = 10_000
	for outputs, isKept := range map[int]bool{4: true, 20: false} {
		s := smallSignoff()
		s.Warnings = nil
		s.addSums(resultOf(outputs, sequences))
		text, err := s.JSON()
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%d sequences, %d rows: signoff.json has %d bytes", sequences, outputs, len(text))
		if len(text) > maxSumsBytes+1<<20 || isKept == s.Sums.LeftOut ||
			isKept != (len(s.Sums.Rows) == outputs) {
			t.Errorf("%d rows: %d bytes, left out: %v", outputs, len(text), s.Sums.LeftOut)
		}
		says := func(w string) bool {
			return strings.HasPrefix(w, "the errors of 10 000 sign-off sequences, one by one, ")
		}
		if isKept == slices.ContainsFunc(s.Warnings, says) {
			t.Errorf("%d rows: notes %q", outputs, s.Warnings)
		}
		if !isKept && Compare(s, s).Why != "sums over so many sequences are left out of sign-offs" {
			t.Errorf("%d rows: %q", outputs, Compare(s, s).Why)
		}
	}
}

// Sums name every sequence, its scenario and the steps that count; where nothing was measured on
// sign-off recordings there are none.
func TestSumsNameTheSequences(t *testing.T) {
	s := smallSignoff()
	s.addSums(resultOf(1, 6))
	if got := s.Sums; !slices.Equal(got.ScenarioOf, []int{0, 1, 2, 3, 0, 1}) ||
		got.Sequences[5] != "off-steady_splitting-00005" || got.Steps[0] != 480 ||
		len(got.Scenarios) != 4 {
		t.Errorf("%+v", got)
	}
	s.Sums = nil
	if s.addSums(&budget.Result{}); s.Sums != nil {
		t.Errorf("sums of nothing: %+v", s.Sums)
	}
}

// A sign-off whose errors do not follow from its sums was changed; one without sums is older.
func TestSumsGiveTheErrors(t *testing.T) {
	for _, c := range []struct {
		want   string // in the error
		change func(s *Signoff)
	}{
		{"", func(s *Signoff) { s.Sums = nil }},
		{"", func(s *Signoff) { s.Sums = &SumsInfo{LeftOut: true} }},
		{"", func(s *Signoff) { s.Sums.Rows = append(s.Sums.Rows, SumsRow{Metric: "later"}) }},
		{"leakage/all/rmse does not follow", func(s *Signoff) { s.Loss[0].Fixed *= 1.000001 }},
		{"leakage/all/rmse does not follow", func(s *Signoff) { s.Loss[0].Float *= 1.000001 }},
		{"leakage/all/rmse does not follow", func(s *Signoff) {
			s.Sums.Rows[0].Fixed[11] *= 1.00001
		}},
		{"leakage/all/rmse does not follow", func(s *Signoff) { s.Sums.Rows = nil }},
		{"leakage/calm/rmse does not follow", func(s *Signoff) {
			row := s.Loss[0]
			row.Scenario = "calm"
			s.Loss = append(s.Loss, row)
		}},
		{"leakage/all/rmse cannot be: not one sum", func(s *Signoff) {
			s.Sums.Rows[0].Float = nil
		}},
		{"cannot be: not one scenario", func(s *Signoff) { s.Sums.ScenarioOf = []int{0, 1} }},
	} {
		s := smallSignoff()
		c.change(s)
		err := s.CheckVerdicts()
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

// What is written is read back to the last digit.
func TestSumsAreWrittenWhole(t *testing.T) {
	s := smallSignoff()
	s.Sums.Rows[0].Fixed[3] = 1.0 / 3
	s.follow()
	text, err := s.JSON()
	if err != nil {
		t.Fatal(err)
	}
	read := &Signoff{}
	if err := json.Unmarshal(text, read); err != nil {
		t.Fatal(err)
	}
	again, err := read.JSON()
	if err != nil || !bytes.Equal(again, text) || read.Sums.Rows[0].Fixed[3] != 1.0/3 {
		t.Errorf("%v, %v", read.Sums.Rows[0].Fixed, err)
	}
}
