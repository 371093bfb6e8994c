package budget

import (
	"fmt"
	"reflect"
	"slices"
	"testing"
)

// planned makes the plan of a job as far as the choice.
func planned(t *testing.T, in *Inputs) (*Planner, *Chosen) {
	t.Helper()
	pl := NewPlanner(in)
	cut, chosen := searchedBy(t, pl)
	if in.Job.Recovery != nil {
		var err error
		if chosen, err = pl.Recover(t.Context(), cut, chosen, nil, untold); err != nil {
			t.Fatal(err)
		}
	}
	return pl, chosen
}

// TestEveryRowCanBeTaken plans with the number of units of every row of the table of sizes, and
// compares features, units, words, costs and loss. The recommended row is that of the plan without
// a number.
func TestEveryRowCanBeTaken(t *testing.T) {
	for name, in := range map[string]*Inputs{
		"as it is": mustLoad(t, "../testdata/cityweather/job.toml"),
		"trained": mustCity(t, "epochs = 20", [3]string{"job.toml", "rmse_rise = \"5 %\"",
			"rmse_rise = \"20 %\""}),
	} {
		pl, chosen := planned(t, in)
		sizes, err := pl.Sizes(t.Context(), chosen, func(int, int) {})
		if err != nil {
			t.Fatal(err)
		}
		recommended, trained := 0, 0
		for _, s := range sizes {
			if s.Other {
				continue
			}
			with := *in
			job := *in.Job
			job.Units.Count = countsOf(s.Candidate)
			with.Job = &job
			_, taken := planned(t, &with)
			if s.Recommended {
				recommended++
				if difference := apartFrom(pl, s, chosen); difference != "" {
					t.Errorf("%s: the recommended row and the plan: %s", name, difference)
				}
			}
			if s.Candidate.Recovered != nil {
				trained++
			}
			if difference := apartFrom(pl, s, taken); difference != "" {
				t.Errorf("%s: row of %d units, and the plan with so many: %s", name, s.Units,
					difference)
			}
		}
		if recommended != 1 || (trained > 0) != (in.Job.Recovery != nil) {
			t.Errorf("%s: %d rows recommended, %d trained", name, recommended, trained)
		}
	}
}

// apartFrom says in what a row and a choice differ.
func apartFrom(pl *Planner, s Size, c *Chosen) string {
	other := pl.sizeOf(c)
	switch {
	case !slices.Equal(s.Candidate.Features, other.Candidate.Features):
		return fmt.Sprint("features ", s.Candidate.Features, other.Candidate.Features)
	case !reflect.DeepEqual(s.Candidate.Units, other.Candidate.Units):
		return fmt.Sprint("units ", s.Candidate.Units, other.Candidate.Units)
	case s.Candidate.Formats.String() != other.Candidate.Formats.String():
		return fmt.Sprint("words ", s.Candidate.Formats, other.Candidate.Formats)
	case !reflect.DeepEqual(fmt.Sprint(s.Costs), fmt.Sprint(other.Costs)):
		return "costs"
	case fmt.Sprint(s.Loss, s.Used, s.Within) != fmt.Sprint(other.Loss, other.Used, other.Within):
		return fmt.Sprint("loss ", s.Used, other.Used)
	case (s.Candidate.Recovered == nil) != (other.Candidate.Recovered == nil):
		return "training"
	}
	return ""
}
